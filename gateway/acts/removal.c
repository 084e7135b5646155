#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/site.h"
#include "base/accession.h"
#include "db/event.h"
#include "dispatch/dispatch.h"
#include "people/erasure.h"
#include "removal_parts.h"
#include "tell.h"
#include "views/measurements.h"

#define SMALL_DATABASE ((int64_t)64 << 20)

enum wp_status removal_want_scrub(struct wp_txn *txn)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%" PRId64, txn->now);
    return wp_sql_run(txn->sql,
                      "INSERT INTO setting (name, value, changed_us) VALUES ('scrub.wanted', ?, ?) "
                      "ON CONFLICT (name) DO NOTHING",
                      "ti", text, txn->now);
}

enum wp_status wp_scrub_due(struct wp_sql *sql, void *job)
{
    bool *due = job;
    int64_t asked = 0, pages = 0, size = 0, open = 0;
    *due = false;
    enum wp_status status =
        wp_sql_int(sql, &asked, "SELECT changed_us FROM setting WHERE name = 'scrub.wanted'", "");
    if (status)
        return status == WP_NOT_FOUND ? WP_OK : status;
    status = wp_sql_int(sql, &pages, "PRAGMA page_count", "");
    if (!status)
        status = wp_sql_int(sql, &size, "PRAGMA page_size", "");
    if (!status)
        status = wp_sql_int(sql, &open, "SELECT count(*) FROM turn WHERE closed_us IS NULL", "");
    *due = !status && (pages * size < SMALL_DATABASE || !open || wp_clock_utc() - asked > WP_DAY);
    return status;
}

enum wp_status removal_measurement(struct wp_txn *txn, int64_t measurement, int64_t removal)
{
    int64_t instrument = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &instrument, "SELECT instrument_id FROM measurement WHERE id = ?", "i",
                   measurement);
    if (!status)
        status = wp_tell_measurement(txn, instrument, "removed", measurement);
    if (!status)
        status = wp_delivery_forget(txn, measurement, 0, "The spectrum was removed.");
    return status ? status : wp_remove_measurement(txn, measurement, removal);
}

/* What every one of the acts asks for before it does anything. */
static enum wp_status begin(const struct wp_ask *ask, struct wp_removal *removal,
                            struct wp_error *error)
{
    const char *reason = wp_ask_text(ask, "reason");
    if (!wp_typed_ok(reason, WP_REMOVAL_REASON, false))
        return wp_fail(error, WP_INVALID, "Give a reason of 1 to %d bytes: it is what stays.",
                       WP_REMOVAL_REASON);
    wp_text_copy(removal->reason, sizeof removal->reason, reason);
    removal->actor = ask->who->actor;
    removal->actor_id = ask->who->id;
    return WP_OK;
}

/* ---- one measurement ---- */

static enum wp_status read_number(struct wp_sql *sql, int64_t id, uint64_t *accession)
{
    int64_t number = 0;
    enum wp_status status =
        wp_sql_int(sql, &number, "SELECT accession FROM measurement WHERE id = ?", "i", id);
    *accession = (uint64_t)number;
    return status;
}

/* How many files go, and the numbers of those measurements that hold on to one of them. */
static enum wp_status describe(struct wp_sql *sql, int64_t id, uint64_t accession, cJSON *out)
{
    char text[WP_ACCESSION_ROOM];
    int64_t files = 0;
    struct wp_rows rows;
    wp_accession_format(accession, text);
    cJSON_AddStringToObject(out, "accession", text);
    enum wp_status status =
        wp_sql_int(sql, &files,
                   "SELECT count(DISTINCT r.sha256) FROM rendition r WHERE r.measurement_id = ?1 "
                   "AND NOT EXISTS (SELECT 1 FROM rendition o WHERE o.sha256 = r.sha256 AND "
                   "o.measurement_id <> ?1)",
                   "i", id);
    cJSON_AddNumberToObject(out, "files", (double)files);
    cJSON *kept = cJSON_AddArrayToObject(out, "kept");
    if (!status)
        status = wp_sql_query(sql, &rows,
                              "SELECT DISTINCT m.accession FROM rendition r JOIN rendition o ON "
                              "o.sha256 = r.sha256 JOIN measurement m ON m.id = o.measurement_id "
                              "WHERE r.measurement_id = ?1 AND m.id <> ?1 ORDER BY 1 LIMIT 100",
                              "i", id);
    if (status)
        return status;
    while (wp_rows_next(&rows)) {
        wp_accession_format((uint64_t)wp_rows_int(&rows, 0), text);
        cJSON_AddItemToArray(kept, cJSON_CreateString(text));
    }
    return wp_rows_end(&rows);
}

WP_ACT(wp_act_remove_measurement)
{
    int64_t id = 0;
    uint64_t accession = 0, typed = 0;
    struct wp_removal removal = {.kind = "measurement"};
    enum wp_status status =
        wp_ask_param_int(ask, 0, &id) ? read_number(txn->sql, id, &accession) : WP_NOT_FOUND;
    if (status)
        return status;
    *out = cJSON_CreateObject();
    status = describe(txn->sql, id, accession, *out);
    bool dry = wp_ask_flag(ask, "dry_run");
    cJSON_AddBoolToObject(*out, "removed", !dry);
    if (status || dry)
        return status;
    const char *confirm = wp_ask_text(ask, "confirm");
    if (!confirm || !wp_accession_parse(confirm, &typed) || typed != accession)
        return wp_fail(error, WP_INVALID,
                       "Type the spectrum's number to confirm: it cannot be brought back.");
    status = begin(ask, &removal, error);
    (void)snprintf(removal.subject, sizeof removal.subject, "%" PRId64, id);
    if (!status)
        status = wp_removal_add(txn, &removal);
    if (!status)
        status = removal_measurement(txn, id, removal.id);
    return status ? status : removal_want_scrub(txn);
}

/* ---- a file that is no spectrum ---- */

WP_ACT(wp_act_remove_object)
{
    unsigned char digest[WP_SHA256_SIZE];
    const char *hex = ask->param[0], *confirm = wp_ask_text(ask, "confirm");
    struct wp_removal removal = {.kind = "object"};
    if (!hex || !wp_hex_decode(hex, digest, sizeof digest))
        return WP_NOT_FOUND;
    enum wp_status status = wp_view_object_seen(txn->sql, ask->who, digest);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    bool dry = wp_ask_flag(ask, "dry_run");
    wp_hex_encode(digest, sizeof digest, removal.subject);
    cJSON_AddStringToObject(*out, "sha256", removal.subject);
    cJSON_AddBoolToObject(*out, "removed", !dry);
    if (dry)
        return WP_OK;
    if (!confirm || strlen(confirm) != 8 || strncmp(confirm, removal.subject, 8) != 0)
        return wp_fail(error, WP_INVALID,
                       "Type the first eight digits of its digest to confirm: it cannot be "
                       "brought back.");
    status = begin(ask, &removal, error);
    if (!status)
        status = wp_remove_object(txn, digest);
    if (status == WP_CONFLICT)
        return wp_fail(error, status, "A spectrum has this file: remove that by its number.");
    if (!status)
        status = wp_removal_add(txn, &removal);
    if (!status)
        status = wp_event_add(txn, "staff", 0, "{\"kind\":\"removed\"}");
    return status ? status : removal_want_scrub(txn);
}

/* ---- a person ---- */

static enum wp_status may_erase(struct wp_txn *txn, const struct wp_ask *ask, int64_t person,
                                struct wp_error *error)
{
    int64_t roles = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &roles, "SELECT roles FROM person WHERE id = ? AND erased_us IS NULL",
                   "i", person);
    if (status)
        return status;
    if (ask->who->actor == WP_ACTOR_PERSON && ask->who->id == person)
        return wp_fail(error, WP_CONFLICT, "Another administrator has to do this for you.");
    if (!(roles & WP_ROLE_ADMINISTRATOR))
        return WP_OK;
    status = wp_other_administrator(txn->sql, person);
    return status == WP_NOT_FOUND
               ? wp_fail(error, WP_CONFLICT, "This is the last administrator: add another first.")
               : status;
}

/* The reason stays, so it must not say the name. */
static bool names_them(const char *reason, const struct wp_forgotten *words)
{
    for (size_t i = 0; i < words->count; i++)
        if (strcasestr(reason, words->words[i]))
            return true;
    return false;
}

static enum wp_status confirm_person(struct wp_txn *txn, const struct wp_ask *ask, int64_t person,
                                     struct wp_removal *removal, struct wp_error *error)
{
    struct wp_forgotten words;
    int64_t typed = 0;
    const char *confirm = wp_ask_text(ask, "confirm");
    enum wp_status status = confirm ? wp_person_find(txn->sql, confirm, &typed) : WP_NOT_FOUND;
    if (status && status != WP_NOT_FOUND)
        return status;
    if (status || typed != person)
        return wp_fail(error, WP_INVALID,
                       "Type the person's sign-in name to confirm: it cannot be brought back.");
    status = begin(ask, removal, error);
    if (!status)
        status = wp_person_words(txn->sql, person, &words);
    if (!status && names_them(removal->reason, &words))
        return wp_fail(error, WP_INVALID, "The reason stays: it must not hold the name.");
    return status;
}

WP_ACT(wp_act_erase_person)
{
    int64_t person = 0;
    struct wp_removal removal = {.kind = "person"};
    const char *spectra = wp_ask_text(ask, "spectra");
    bool dry = wp_ask_flag(ask, "dry_run");
    if (!spectra || !*spectra)
        spectra = "keep";
    if (strcmp(spectra, "keep") != 0 && strcmp(spectra, "remove") != 0)
        return wp_fail(error, WP_INVALID, "\"spectra\" is \"keep\" or \"remove\".");
    enum wp_status status =
        wp_ask_param_int(ask, 0, &person) ? may_erase(txn, ask, person, error) : WP_NOT_FOUND;
    if (!status && !dry)
        status = confirm_person(txn, ask, person, &removal, error);
    if (status)
        return status;
    (void)snprintf(removal.subject, sizeof removal.subject, "%" PRId64, person);
    wp_text_copy(removal.spectra, sizeof removal.spectra, spectra);
    *out = cJSON_CreateObject();
    cJSON_AddBoolToObject(*out, "erased", !dry);
    return removal_person(txn, &removal, person, dry, *out);
}
