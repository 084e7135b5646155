#include "archive/removal.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/id.h"

/* Objects that one measurement can have: formats it was exported in. More are left in the store and
 * go with the next removal that finds them without a measurement. */
#define OBJECTS_MOST 64

enum wp_status wp_removal_add(struct wp_txn *txn, struct wp_removal *removal)
{
    char subject[96];
    bool person = !strcmp(removal->kind, "person");
    if (!removal->id)
        removal->id = wp_id_next();
    if (!removal->at_us)
        removal->at_us = txn->now;
    (void)snprintf(subject, sizeof subject, "%s:%s", removal->kind, removal->subject);
    enum wp_status status = wp_sql_run(
        txn->sql,
        "INSERT INTO removal (id, at_us, kind, subject, spectra, actor, actor_id, reason) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        "iitttiit", removal->id, removal->at_us, removal->kind, removal->subject, removal->spectra,
        (int64_t)removal->actor, removal->actor_id, removal->reason);
    return status ? status
                  : wp_ledger_add(txn, removal->actor, removal->actor_id,
                                  person ? "erase" : "remove", subject, removal->reason, NULL);
}

/* ---- objects ---- */

static enum wp_status drop_object(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE])
{
    static const char *const steps[] = {
        "DELETE FROM staged WHERE sha256 = ?",
        "UPDATE object SET state = 'removing', error_text = NULL, error_line = NULL, "
        "error_column = NULL WHERE sha256 = ?",
        "UPDATE capture SET path = '' WHERE sha256 = ?",
        "DELETE FROM notice WHERE capture_id IN (SELECT id FROM capture WHERE sha256 = ?)",
    };
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < sizeof steps / sizeof steps[0]; i++)
        status = wp_sql_run(txn->sql, steps[i], "b", (const void *)digest, (size_t)WP_SHA256_SIZE);
    return status;
}

static enum wp_status has_rendition(struct wp_sql *sql, const unsigned char digest[WP_SHA256_SIZE])
{
    int64_t one = 0;
    return wp_sql_int(sql, &one, "SELECT 1 FROM rendition WHERE sha256 = ? LIMIT 1", "b",
                      (const void *)digest, (size_t)WP_SHA256_SIZE);
}

enum wp_status wp_remove_object(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE])
{
    int64_t one = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &one,
                   "SELECT 1 FROM object WHERE sha256 = ? AND state NOT IN ('removing', 'removed')",
                   "b", (const void *)digest, (size_t)WP_SHA256_SIZE);
    if (status)
        return status;
    status = has_rendition(txn->sql, digest);
    if (status == WP_OK)
        return WP_CONFLICT;
    return status == WP_NOT_FOUND ? drop_object(txn, digest) : status;
}

enum wp_status wp_removed_before(struct wp_sql *sql, const unsigned char digest[WP_SHA256_SIZE],
                                 int64_t block)
{
    int64_t one = 0;
    enum wp_status status =
        wp_sql_int(sql, &one, "SELECT 1 FROM removed_rendition WHERE sha256 = ? AND block = ?",
                   "bi", (const void *)digest, (size_t)WP_SHA256_SIZE, block);
    if (status != WP_NOT_FOUND)
        return status;
    return wp_sql_int(sql, &one,
                      "SELECT 1 FROM object WHERE sha256 = ? AND state IN ('removing', 'removed')",
                      "b", (const void *)digest, (size_t)WP_SHA256_SIZE);
}

/* ---- measurements ---- */

struct objects {
    unsigned char digests[OBJECTS_MOST][WP_SHA256_SIZE];
    size_t count;
};

static enum wp_status read_objects(struct wp_sql *sql, int64_t measurement, struct objects *objects)
{
    struct wp_rows rows;
    objects->count = 0;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT DISTINCT sha256 FROM rendition WHERE measurement_id = ?",
                     "i", measurement);
    if (status)
        return status;
    while (objects->count < OBJECTS_MOST && wp_rows_next(&rows)) {
        size_t size = 0;
        const void *digest = wp_rows_blob(&rows, 0, &size);
        if (size == WP_SHA256_SIZE)
            memcpy(objects->digests[objects->count++], digest, size);
    }
    return wp_rows_end(&rows);
}

/* What stays: the number, who had it, which spectra of which bytes. */
static enum wp_status leave_mark(struct wp_txn *txn, int64_t measurement, int64_t removal)
{
    enum wp_status status = wp_sql_run(
        txn->sql,
        "INSERT INTO removed_measurement (measurement_id, accession, instrument_id, section_id, "
        "removal_id) SELECT id, accession, instrument_id, section_id, ? FROM measurement "
        "WHERE id = ?",
        "ii", removal, measurement);
    if (!status && !wp_sql_changes(txn->sql))
        status = WP_NOT_FOUND;
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO removed_person (measurement_id, person_id) SELECT "
                            "measurement_id, person_id FROM owned WHERE measurement_id = ?",
                            "i", measurement);
    return status ? status
                  : wp_sql_run(txn->sql,
                               "INSERT INTO removed_rendition (sha256, block, measurement_id) "
                               "SELECT DISTINCT sha256, block, measurement_id FROM rendition "
                               "WHERE measurement_id = ?",
                               "i", measurement);
}

static enum wp_status drop_rows(struct wp_txn *txn, int64_t measurement)
{
    static const char *const steps[] = {
        "DELETE FROM owned WHERE measurement_id = ?",
        "DELETE FROM stamp WHERE measurement_id = ?",
        "DELETE FROM rendition WHERE measurement_id = ?",
        "DELETE FROM notice WHERE ?1 IN (measurement_id, other_id)",
        "DELETE FROM measurement WHERE id = ?",
    };
    enum wp_status status = wp_sql_run(txn->sql,
                                       "DELETE FROM stamp_person WHERE stamp_id IN "
                                       "(SELECT id FROM stamp WHERE measurement_id = ?)",
                                       "i", measurement);
    for (size_t i = 0; !status && i < sizeof steps / sizeof steps[0]; i++)
        status = wp_sql_run(txn->sql, steps[i], "i", measurement);
    return status;
}

enum wp_status wp_remove_measurement(struct wp_txn *txn, int64_t measurement, int64_t removal)
{
    struct objects objects;
    enum wp_status status = read_objects(txn->sql, measurement, &objects);
    if (!status)
        status = leave_mark(txn, measurement, removal);
    if (!status)
        status = wp_measurement_counts_instead(txn, measurement);
    if (!status)
        status = drop_rows(txn, measurement);
    for (size_t i = 0; !status && i < objects.count; i++) {
        status = has_rendition(txn->sql, objects.digests[i]);
        status = status == WP_NOT_FOUND ? drop_object(txn, objects.digests[i]) : status;
    }
    return status;
}
