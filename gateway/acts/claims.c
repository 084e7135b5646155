#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/bench_acts.h"
#include "acts/deliver.h"
#include "acts/site.h"
#include "archive/record.h"
#include "around_classes.h"
#include "base/bytes.h"
#include "claims_parts.h"
#include "db/event.h"
#include "people/persons.h"
#include "people/sessions.h"
#include "stamping_parts.h"
#include "views/measurements.h"

#define SITE_WIDE (WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)

enum wp_status claims_tell(struct wp_txn *txn, int64_t measurement, const struct wp_stamp *stamp)
{
    int64_t instrument = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &instrument, "SELECT instrument_id FROM measurement WHERE id = ?", "i",
                   measurement);
    if (!status)
        status = wp_event_addf(txn, "instrument", instrument,
                               "{\"kind\":\"stamped\",\"measurement\":%" PRId64 "}", measurement);
    if (!status && stamp->section)
        status = wp_event_addf(txn, "section", stamp->section,
                               "{\"kind\":\"stamped\",\"measurement\":%" PRId64 "}", measurement);
    for (size_t i = 0; !status && i < stamp->person_count; i++)
        status = wp_event_addf(txn, "person", stamp->persons[i],
                               "{\"kind\":\"stamped\",\"measurement\":%" PRId64 "}", measurement);
    return status;
}

/* Who claims: the signed-in student, or the person tapped at the bench. */
static enum wp_status claimant(const struct wp_ask *ask, int64_t *person, struct wp_error *error)
{
    if (ask->who->actor == WP_ACTOR_PERSON) {
        *person = ask->who->id;
        return WP_OK;
    }
    if (wp_ask_int(ask, "person", person) && *person > 0)
        return WP_OK;
    return wp_fail(error, WP_INVALID, "\"person\" is missing: who claims it?");
}

struct claimed {
    int64_t id;
    int64_t until_us;
    bool unclaimed;
};

static enum wp_status find(struct wp_txn *txn, const struct wp_ask *ask, struct claimed *claimed,
                           struct wp_error *error)
{
    char code[WP_CODE_ROOM] = "";
    unsigned char hash[WP_HASH_SIZE];
    uint64_t accession = 0;
    const char *typed = wp_ask_text(ask, "code"), *number = wp_ask_text(ask, "accession");
    if (!typed || !wp_code_clean(typed, code))
        return wp_fail(error, WP_NOT_FOUND, "This code is not known. It has eight characters.");
    if (number && *number && !wp_accession_parse(number, &accession))
        return wp_fail(error, WP_INVALID, "The accession number is mistyped.");
    wp_token_hash(code, hash);
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows,
        "SELECT id, claim_until_us, unclaimed FROM measurement WHERE claim_hash = ? AND "
        "(? = 0 OR accession = ?)",
        "bii", hash, sizeof hash, (int64_t)accession, (int64_t)accession);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found)
        *claimed = (struct claimed){wp_rows_int(&rows, 0), wp_rows_int(&rows, 1),
                                    wp_rows_int(&rows, 2) != 0};
    status = wp_rows_end(&rows);
    if (status || found)
        return status;
    int64_t taken = 0;
    if (accession && wp_sql_int(txn->sql, &taken,
                                "SELECT 1 FROM measurement WHERE accession = ? AND unclaimed = 0",
                                "i", (int64_t)accession) == WP_OK)
        return wp_fail(error, WP_CONFLICT, "Already claimed. Ask staff.");
    return wp_fail(error, WP_NOT_FOUND, "This code is not known.");
}

/* Only somebody of the section that met then may claim by code. */
static enum wp_status check_section(struct wp_txn *txn, int64_t person, struct wp_stamp *stamp,
                                    struct wp_error *error)
{
    int64_t section = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &section,
                   "SELECT section_id FROM enrolled WHERE person_id = ?1 AND to_us IS NULL AND "
                   "(?2 = 0 OR section_id = ?2) ORDER BY from_us DESC LIMIT 1",
                   "ii", person, stamp->section);
    if (status == WP_NOT_FOUND)
        return wp_fail(error, WP_DENIED, "Only people of that section can claim it. Ask staff.");
    stamp->section = section;
    return status;
}

/* What nobody said at the bench follows from the experiment, then from the instrument. */
static enum wp_status fill_words(struct wp_txn *txn, struct wp_stamp *stamp)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows,
        "SELECT coalesce(nullif(e.preparation, ''), i.preparation), "
        "coalesce(nullif(e.plates, ''), i.plates) FROM measurement m JOIN instrument i "
        "ON i.id = m.instrument_id LEFT JOIN experiment e ON e.id = ? WHERE m.id = ?",
        "ii", stamp->experiment, stamp->measurement);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        if (!stamp->preparation[0])
            wp_text_copy(stamp->preparation, sizeof stamp->preparation, wp_rows_text(&rows, 0));
        if (!stamp->plates[0])
            wp_text_copy(stamp->plates, sizeof stamp->plates, wp_rows_text(&rows, 1));
    }
    return wp_rows_end(&rows);
}

WP_ACT(wp_act_claim)
{
    int64_t person = 0;
    char throttle[96];
    struct claimed claimed = {0};
    enum wp_status status = claimant(ask, &person, error);
    (void)snprintf(throttle, sizeof throttle, "claim:%" PRId64 ":%" PRId64, ask->who->id, person);
    if (!status)
        status = wp_throttle(txn, throttle, 10, WP_HOUR);
    /* At a bench anybody may be named, so that names alone would give tries without end. */
    (void)snprintf(throttle, sizeof throttle, "claim-at:%" PRId64, ask->who->id);
    if (!status && ask->who->actor == WP_ACTOR_BENCH)
        status = wp_throttle(txn, throttle, 60, WP_HOUR);
    if (status == WP_RETRY)
        return wp_fail(error, status, "Too many tries; wait an hour, or ask staff.");
    if (!status) {
        txn->keep = true; /* a wrong code counts; nothing else has been written yet */
        status = find(txn, ask, &claimed, error);
    }
    if (status)
        return status;
    txn->keep = false;
    if (claimed.until_us < txn->now)
        return wp_fail(error, WP_CONFLICT, "The code was good until midnight. Ask staff.");
    struct wp_stamp stamp;
    status = wp_stamp_read(txn->sql, claimed.id, &stamp);
    if (!status)
        status = check_section(txn, person, &stamp, error);
    if (status)
        return status;
    stamp.person_count = 1;
    stamp.persons[0] = person;
    stamp.author = ask->who->actor;
    stamp.author_id = ask->who->id;
    wp_text_copy(stamp.rule, sizeof stamp.rule, "claim");
    wp_text_copy(stamp.reason, sizeof stamp.reason, "Claimed by the code on the sheet.");
    if (wp_ask_text(ask, "sample") && wp_typed_ok(wp_ask_text(ask, "sample"), 100, true))
        wp_text_copy(stamp.sample, sizeof stamp.sample, wp_ask_text(ask, "sample"));
    (void)wp_ask_int(ask, "experiment", &stamp.experiment);
    status = fill_words(txn, &stamp);
    if (!status)
        status = wp_stamp_add(txn, &stamp);
    if (!status)
        status = wp_measurement_counts(txn, claimed.id);
    if (!status)
        status = wp_deliver_claimed(txn, claimed.id);
    if (!status)
        status = claims_tell(txn, claimed.id, &stamp);
    return status ? status : wp_measurement_json(txn->sql, ask->who, claimed.id, out);
}

WP_ACT(wp_act_counts)
{
    int64_t id = 0;
    (void)error;
    if (!wp_ask_param_int(ask, 0, &id))
        return WP_NOT_FOUND;
    enum wp_status status = wp_measurement_counts(txn, id);
    return status ? status : wp_measurement_json(txn->sql, ask->who, id, out);
}

WP_ACT(wp_act_print)
{
    int64_t id = 0, printer = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return WP_NOT_FOUND;
    (void)wp_ask_int(ask, "printer", &printer);
    int64_t person = ask->who->actor == WP_ACTOR_PERSON ? ask->who->id : 0;
    return wp_deliver_print(txn, id, person, printer, wp_ask_flag(ask, "large_print"), out, error);
}

WP_ACT(wp_act_mail)
{
    int64_t id = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return WP_NOT_FOUND;
    return wp_deliver_mail(txn, id, ask->who->id, out, error);
}

/* What staff say replaces what stands there; what they do not mention stays. */
static enum wp_status amend(const struct wp_ask *ask, struct wp_stamp *stamp,
                            struct wp_error *error)
{
    const struct {
        const char *name;
        char *to;
        size_t room;
    } words[] = {
        {"sample", stamp->sample, sizeof stamp->sample},
        {"kind", stamp->kind, sizeof stamp->kind},
        {"preparation", stamp->preparation, sizeof stamp->preparation},
        {"plates", stamp->plates, sizeof stamp->plates},
        {"reason", stamp->reason, sizeof stamp->reason},
    };
    wp_text_copy(stamp->reason, sizeof stamp->reason, "Assigned by staff.");
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        const char *text = wp_ask_text(ask, words[i].name);
        if (!text)
            continue;
        if (!wp_typed_ok(text, words[i].room - 1, true))
            return wp_fail(error, WP_INVALID, "\"%s\" is too long or not plain text.",
                           words[i].name);
        wp_text_copy(words[i].to, words[i].room, text);
    }
    (void)wp_ask_int(ask, "section", &stamp->section);
    (void)wp_ask_int(ask, "experiment", &stamp->experiment);
    if (!cJSON_HasObjectItem(ask->body, "persons") && !cJSON_HasObjectItem(ask->body, "person"))
        return WP_OK;
    return wp_ask_persons(ask, stamp->persons, &stamp->person_count, error);
}

/* A section's staff assign within the sections they look after, to people of their rosters; who
 * left one keeps what is theirs. */
enum wp_status claims_check_staff(struct wp_txn *txn, const struct wp_ask *ask, int64_t section,
                                  const int64_t *persons, size_t count, struct wp_error *error)
{
    unsigned held = 0;
    if (ask->who->roles & SITE_WIDE)
        return WP_OK;
    enum wp_status status = wp_section_roles(txn->sql, ask->who, section, &held);
    if (!status && section && !(held & (WP_ROLE_DEMONSTRATOR | WP_ROLE_INSTRUCTOR)))
        return wp_fail(error, WP_DENIED, "You do not look after this section.");
    if (!status && !section && count)
        return wp_fail(error, WP_INVALID, "Say which section it belongs to.");
    for (size_t i = 0; !status && i < count; i++) {
        int64_t one = 0;
        status = wp_sql_int(txn->sql, &one,
                            "SELECT 1 FROM enrolled WHERE person_id = ? AND section_id = ?", "ii",
                            persons[i], section);
        if (status == WP_NOT_FOUND)
            return wp_fail(error, WP_INVALID, "This person is not on the section's roster.");
    }
    return status;
}

WP_ACT(wp_act_stamp)
{
    int64_t id = 0;
    struct wp_stamp stamp;
    if (!wp_ask_param_int(ask, 0, &id))
        return WP_NOT_FOUND;
    enum wp_status status = wp_stamp_read(txn->sql, id, &stamp);
    if (!status)
        status = amend(ask, &stamp, error);
    if (!status)
        status =
            claims_check_staff(txn, ask, stamp.section, stamp.persons, stamp.person_count, error);
    if (status)
        return status;
    stamp.author = ask->who->actor;
    stamp.author_id = ask->who->id;
    wp_text_copy(stamp.rule, sizeof stamp.rule, "staff");
    status = wp_stamp_add(txn, &stamp);
    if (status == WP_CONSTRAINT)
        return wp_fail(error, WP_INVALID, "A person, section or experiment does not exist.");
    if (!status)
        status = wp_measurement_counts(txn, id);
    if (!status && stamp.person_count)
        status = wp_deliver_claimed(txn, id);
    if (!status)
        status = claims_tell(txn, id, &stamp);
    return status ? status : wp_measurement_json(txn->sql, ask->who, id, out);
}

WP_ACT(wp_act_notice_settle)
{
    (void)out;
    int64_t id = 0;
    enum wp_status status = wp_ask_param_int(ask, 0, &id) ? WP_OK : WP_NOT_FOUND;
    if (!status && !(ask->who->roles & SITE_WIDE))
        status = wp_sql_int(txn->sql, &(int64_t){0},
                            "SELECT 1 FROM notice n JOIN instrument i ON i.id = n.instrument_id "
                            "WHERE n.id = ?1 AND " WP_NOTICE_IS_THEIRS,
                            "ii", id, ask->who->id);
    if (!status)
        status = wp_notice_settle(txn, id, ask->who->id);
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "There is no such open notice.");
    return status ? status : wp_ask_record(txn, ask, "settle", "notice", id, NULL);
}

/* The gateway's own life, so that "the instrument was down" is told from "nobody was looking". */
static enum wp_status extend_gateway_span(struct wp_txn *txn)
{
    return wp_sql_run(txn->sql,
                      "UPDATE span SET to_us = ?1 WHERE id = (SELECT id FROM span WHERE subject = "
                      "'gateway' ORDER BY from_us DESC LIMIT 1) AND to_us < ?1 - ?2",
                      "ii", txn->now, (int64_t)(15 * WP_SECOND));
}

enum wp_status wp_act_sweep(struct wp_txn *txn, void *job)
{
    (void)job;
    int64_t ids[64];
    size_t count = 0;
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows,
                     "SELECT m.id FROM measurement m JOIN capture c ON c.id = m.capture_id "
                     "WHERE m.kept = 'open' AND c.received_us < ? LIMIT 64",
                     "i", txn->now - wp_site.open_us);
    if (status)
        return status;
    while (count < 64 && wp_rows_next(&rows))
        ids[count++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    if (!status)
        status = extend_gateway_span(txn);
    for (size_t i = 0; !status && i < count; i++) {
        status = wp_measurement_keep(txn, ids[i], "auto");
        if (!status)
            status = wp_deliver_kept(txn, ids[i], false, WP_ACTOR_SYSTEM, 0);
    }
    return status ? status : wp_around_classes(txn);
}
