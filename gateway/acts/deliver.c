#include "acts/deliver.h"
#include "base/bytes.h"

#include <string.h>

#include "archive/record.h"
#include "base/clock.h"
#include "dispatch/dispatch.h"

struct policy {
    int64_t course;
    char printing[16];
    char mailing[16];
    int pages_a_day;
    int64_t instrument;
    int64_t class_ends; /* of the section's meeting going on now; 0: none */
};

/* Without a section there is no course: printed when asked for, not mailed. */
static enum wp_status read_policy(struct wp_txn *txn, int64_t measurement, struct policy *policy)
{
    *policy = (struct policy){.printing = "ask", .mailing = "none"};
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows,
        "SELECT m.instrument_id, c.id, c.printing, c.mailing, c.pages_a_day, "
        "(SELECT max(g.ends_us) FROM meeting g WHERE g.section_id = s.id AND g.starts_us <= ?1 "
        "AND g.ends_us > ?1) FROM measurement m LEFT JOIN section s ON s.id = m.section_id "
        "LEFT JOIN course c ON c.id = s.course_id WHERE m.id = ?2",
        "ii", txn->now, measurement);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        policy->instrument = wp_rows_int(&rows, 0);
        policy->course = wp_rows_int(&rows, 1);
        if (policy->course) {
            wp_text_copy(policy->printing, sizeof policy->printing, wp_rows_text(&rows, 2));
            wp_text_copy(policy->mailing, sizeof policy->mailing, wp_rows_text(&rows, 3));
            policy->pages_a_day = (int)wp_rows_int(&rows, 4);
            policy->class_ends = wp_rows_int(&rows, 5);
        }
    }
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

static enum wp_mailing mailing_of(const char *text)
{
    if (!strcmp(text, "digest"))
        return WP_MAILING_DIGEST;
    if (!strcmp(text, "each"))
        return WP_MAILING_EACH;
    if (!strcmp(text, "link"))
        return WP_MAILING_LINK;
    return WP_MAILING_NONE;
}

/* What every request for a sheet of this measurement says. */
static struct wp_delivery_request request_for(const struct policy *policy, int64_t measurement,
                                              int64_t person, const char *reason)
{
    return (struct wp_delivery_request){
        .measurement = measurement,
        .person = person,
        .instrument = policy->instrument,
        .course = policy->course,
        .pages = 1,
        .pages_a_day = policy->pages_a_day,
        .reason = reason,
        .actor = WP_ACTOR_SYSTEM,
    };
}

static enum wp_status print(struct wp_txn *txn, const struct policy *policy,
                            const struct wp_stamp *stamp, const char *reason, enum wp_actor actor,
                            int64_t actor_id)
{
    struct wp_delivery_made made;
    struct wp_delivery_request request = request_for(
        policy, stamp->measurement, stamp->person_count ? stamp->persons[0] : 0, reason);
    request.kind = WP_DELIVERY_PRINT;
    request.actor = actor;
    request.actor_id = actor_id;
    return wp_delivery_enqueue(txn, &request, &made, NULL);
}

/* The same request may come twice, after a lost answer; the mail goes once. */
static bool already_mailed(struct wp_sql *sql, int64_t measurement, int64_t person)
{
    int64_t one = 0;
    return wp_sql_int(sql, &one,
                      "SELECT 1 FROM delivery WHERE measurement_id = ? AND person_id = ? AND "
                      "kind = 'mail' LIMIT 1",
                      "ii", measurement, person) == WP_OK;
}

static enum wp_status mail(struct wp_txn *txn, const struct policy *policy,
                           const struct wp_stamp *stamp, const char *reason)
{
    enum wp_mailing mailing = mailing_of(policy->mailing);
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && mailing != WP_MAILING_NONE && i < stamp->person_count; i++) {
        struct wp_delivery_made made;
        if (already_mailed(txn->sql, stamp->measurement, stamp->persons[i]))
            continue;
        struct wp_delivery_request request =
            request_for(policy, stamp->measurement, stamp->persons[i], reason);
        request.kind = WP_DELIVERY_MAIL;
        request.mailing = mailing;
        request.due_us = mailing == WP_MAILING_EACH ? 0 : policy->class_ends;
        status = wp_delivery_enqueue(txn, &request, &made, NULL);
    }
    return status;
}

static enum wp_status prepare(struct wp_txn *txn, int64_t measurement, struct policy *policy,
                              struct wp_stamp *stamp)
{
    enum wp_status status = read_policy(txn, measurement, policy);
    return status ? status : wp_stamp_read(txn->sql, measurement, stamp);
}

/* A second tap of "Keep and print" prints nothing twice. */
static enum wp_status already_printed(struct wp_sql *sql, int64_t measurement, int64_t *count)
{
    return wp_sql_int(sql, count,
                      "SELECT count(*) FROM delivery WHERE measurement_id = ? AND kind = 'print' "
                      "AND state NOT IN ('cancelled', 'failed')",
                      "i", measurement);
}

enum wp_status wp_deliver_at_once(struct wp_txn *txn, int64_t measurement)
{
    struct policy policy;
    struct wp_stamp stamp;
    enum wp_status status = prepare(txn, measurement, &policy, &stamp);
    if (status || strcmp(policy.printing, "at-once") != 0 || !stamp.person_count)
        return status;
    return print(txn, &policy, &stamp, "The course prints at once.", WP_ACTOR_SYSTEM, 0);
}

enum wp_status wp_deliver_kept(struct wp_txn *txn, int64_t measurement, bool wanted,
                               enum wp_actor actor, int64_t actor_id)
{
    struct policy policy;
    struct wp_stamp stamp;
    int64_t printed = 0;
    enum wp_status status = prepare(txn, measurement, &policy, &stamp);
    if (!status)
        status = already_printed(txn->sql, measurement, &printed);
    if (!status && wanted && !printed && strcmp(policy.printing, "inbox") != 0)
        status = print(txn, &policy, &stamp, "Kept at the bench, to be printed.", actor, actor_id);
    return status ? status : mail(txn, &policy, &stamp, "Kept at the bench.");
}

enum wp_status wp_deliver_claimed(struct wp_txn *txn, int64_t measurement)
{
    struct policy policy;
    struct wp_stamp stamp;
    enum wp_status status = prepare(txn, measurement, &policy, &stamp);
    if (status)
        return status;
    /* Somebody who has the unclaimed sheet gets the labelled one, on paper where nothing is mailed.
     */
    if (mailing_of(policy.mailing) == WP_MAILING_NONE && strcmp(policy.printing, "inbox") != 0)
        return print(txn, &policy, &stamp, "It was claimed.", WP_ACTOR_SYSTEM, 0);
    return mail(txn, &policy, &stamp, "It was claimed.");
}

/* Enqueues what a person asked for and tells what came of it. */
static enum wp_status asked_for(struct wp_txn *txn, struct wp_delivery_request *request,
                                cJSON **out, struct wp_error *error)
{
    struct wp_delivery_made made;
    request->actor = WP_ACTOR_PERSON;
    request->actor_id = request->person;
    enum wp_status status = wp_delivery_enqueue(txn, request, &made, error);
    if (!status && (*out = cJSON_CreateObject())) {
        cJSON_AddNumberToObject(*out, "delivery", (double)made.id);
        cJSON_AddStringToObject(*out, "text", made.text);
    }
    return status;
}

enum wp_status wp_deliver_print(struct wp_txn *txn, int64_t measurement, int64_t person,
                                int64_t printer, bool large_print, cJSON **out,
                                struct wp_error *error)
{
    struct policy policy;
    enum wp_status status = read_policy(txn, measurement, &policy);
    if (status)
        return status;
    struct wp_delivery_request request =
        request_for(&policy, measurement, person, "Asked for again.");
    request.kind = WP_DELIVERY_PRINT;
    request.printer = printer;
    request.pages = large_print ? 2 : 1;
    request.large_print = large_print;
    return asked_for(txn, &request, out, error);
}

enum wp_status wp_deliver_mail(struct wp_txn *txn, int64_t measurement, int64_t person, cJSON **out,
                               struct wp_error *error)
{
    struct policy policy;
    enum wp_status status = read_policy(txn, measurement, &policy);
    if (status)
        return status;
    struct wp_delivery_request request =
        request_for(&policy, measurement, person, "Asked for by mail.");
    request.kind = WP_DELIVERY_MAIL;
    request.mailing = !strcmp(policy.mailing, "link") ? WP_MAILING_LINK : WP_MAILING_EACH;
    return asked_for(txn, &request, out, error);
}
