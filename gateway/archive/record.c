#include "archive/record.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "base/id.h"

/* Accession numbers begin here, so that the first sheet already has a number of five digits. */
#define FIRST_ACCESSION 10001

enum wp_status wp_capture_find(struct wp_sql *sql, int64_t agent, int64_t number, int64_t *id,
                               unsigned char digest[WP_SHA256_SIZE], struct wp_ledger_head *head)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(sql, &rows,
                                         "SELECT id, sha256, ledger_number, ledger_hash "
                                         "FROM capture WHERE agent_id = ? AND number = ?",
                                         "ii", agent, number);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        size_t size = 0, hash_size = 0;
        const void *bytes = wp_rows_blob(&rows, 1, &size);
        const void *hash = wp_rows_blob(&rows, 3, &hash_size);
        *id = wp_rows_int(&rows, 0);
        head->number = wp_rows_int(&rows, 2);
        if (size == WP_SHA256_SIZE && hash_size == WP_LEDGER_HASH) {
            memcpy(digest, bytes, size);
            memcpy(head->hash, hash, hash_size);
        }
    }
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

enum wp_status wp_capture_add(struct wp_txn *txn, struct wp_capture *capture, enum wp_actor actor,
                              int64_t actor_id, struct wp_ledger_head *head)
{
    char subject[64], hex[WP_SHA256_HEX];
    capture->id = wp_id_next();
    (void)snprintf(subject, sizeof subject, "capture:%" PRId64, capture->id);
    wp_hex_encode(capture->digest, WP_SHA256_SIZE, hex);
    enum wp_status status = wp_ledger_add(txn, actor, actor_id, "capture", subject, hex, head);
    if (status)
        return status;
    return wp_sql_run(
        txn->sql,
        "INSERT INTO capture (id, agent_id, number, sha256, instrument_id, path, mtime_us, "
        "captured_us, steady_us, boot_id, corrected_us, received_us, backfill, brought_by, known, "
        "ledger_number, ledger_hash) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, nullif(?, 0), ?, ?, ?)",
        "iiibitiiitiiiiiib", capture->id, capture->agent, capture->number, capture->digest,
        (size_t)WP_SHA256_SIZE, capture->instrument, capture->path, capture->mtime_us,
        capture->captured_us, capture->steady_us, capture->boot_id, capture->corrected_us, txn->now,
        (int64_t)capture->backfill, capture->brought_by, (int64_t)capture->known, head->number,
        head->hash, (size_t)WP_LEDGER_HASH);
}

enum wp_status wp_object_add(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE],
                             size_t size, bool stored, const char *format,
                             const struct wp_error *error)
{
    bool failed = error && error->status;
    return wp_sql_run(txn->sql,
                      "INSERT INTO object (sha256, size, state, format, error_text, error_line, "
                      "error_column, first_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                      "bitttiii", digest, (size_t)WP_SHA256_SIZE, (int64_t)size,
                      stored ? "stored" : "staged", format, failed ? error->text : NULL,
                      (int64_t)(failed ? error->line : 0), (int64_t)(failed ? error->column : 0),
                      txn->now);
}

static enum wp_status next_accession(struct wp_txn *txn, uint64_t *accession)
{
    int64_t next = FIRST_ACCESSION;
    enum wp_status status =
        wp_sql_int(txn->sql, &next, "SELECT next FROM sequence WHERE name = 'accession'", "");
    if (status && status != WP_NOT_FOUND)
        return status;
    while (!wp_accession_usable((uint64_t)next))
        next++;
    *accession = (uint64_t)next;
    return status == WP_NOT_FOUND
               ? wp_sql_run(txn->sql, "INSERT INTO sequence (name, next) VALUES ('accession', ?)",
                            "i", next + 1)
               : wp_sql_run(txn->sql, "UPDATE sequence SET next = ? WHERE name = 'accession'", "i",
                            next + 1);
}

enum wp_status wp_measurement_add(struct wp_txn *txn, struct wp_measurement *measurement)
{
    enum wp_status status = next_accession(txn, &measurement->accession);
    if (status)
        return status;
    measurement->id = wp_id_next();
    return wp_sql_run(
        txn->sql,
        "INSERT INTO measurement (id, accession, instrument_id, turn_id, capture_id, title, "
        "technique, measured_us, time_source, clock_corrected, verdict, examination, asked, "
        "suggestion) VALUES (?, ?, ?, nullif(?, 0), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        "iiiiittitittit", measurement->id, (int64_t)measurement->accession, measurement->instrument,
        measurement->turn, measurement->capture, measurement->title, measurement->technique,
        measurement->measured_us, measurement->time_source, (int64_t)measurement->clock_corrected,
        measurement->verdict, measurement->examination, (int64_t)measurement->asked,
        measurement->suggestion);
}

enum wp_status wp_rendition_add(struct wp_txn *txn, const struct wp_rendition *rendition)
{
    return wp_sql_run(
        txn->sql,
        "INSERT INTO rendition (id, measurement_id, instrument_id, capture_id, sha256, block, "
        "format, points, print, added_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        "iiiibitibi", wp_id_next(), rendition->measurement, rendition->instrument,
        rendition->capture, rendition->digest, (size_t)WP_SHA256_SIZE, rendition->block,
        rendition->format, rendition->points, rendition->print ? rendition->print->bytes : NULL,
        (size_t)WP_PRINT_SIZE, txn->now);
}

enum wp_status wp_measurement_keep(struct wp_txn *txn, int64_t measurement, const char *kept)
{
    enum wp_status status =
        wp_sql_run(txn->sql,
                   "UPDATE measurement SET kept = ?1, kept_us = ?2 WHERE id = ?3 AND "
                   "(kept IN ('open', 'auto') OR kept = ?1)",
                   "tii", kept, txn->now, measurement);
    return status ? status : wp_sql_changes(txn->sql) ? WP_OK : WP_CONFLICT;
}

enum wp_status wp_measurement_set_turn(struct wp_txn *txn, int64_t measurement, int64_t turn)
{
    return wp_sql_run(txn->sql,
                      "UPDATE measurement SET turn_id = nullif(?, 0), asked = 0 WHERE id = ?", "ii",
                      turn, measurement);
}

/* The measurements of the same experiment and sample that one of the same persons has, and that
 * are `which`. A person's are many and those that count few: the join goes on with those alone. */
#define SIBLINGS(which)                                                                            \
    "FROM owned o JOIN owned o2 ON o2.person_id = o.person_id "                                    \
    "CROSS JOIN measurement g ON g.id = o2.measurement_id " which                                  \
    "CROSS JOIN measurement m ON m.id = o.measurement_id AND g.experiment_id IS m.experiment_id "  \
    "CROSS JOIN stamp s ON s.id = m.stamp_id "                                                     \
    "CROSS JOIN stamp s2 ON s2.id = g.stamp_id AND s2.sample = s.sample "                          \
    "WHERE o.measurement_id = ?1"
#define COUNTING SIBLINGS("AND g.counts = 1 ")

enum wp_status wp_measurement_counts(struct wp_txn *txn, int64_t measurement)
{
    enum wp_status status = wp_sql_run(
        txn->sql, "UPDATE measurement SET counts = 0 WHERE id IN (SELECT g.id " COUNTING ")", "i",
        measurement);
    return status ? status
                  : wp_sql_run(txn->sql, "UPDATE measurement SET counts = 1 WHERE id = ?", "i",
                               measurement);
}

enum wp_status wp_measurement_counts_by_default(struct wp_txn *txn, int64_t measurement)
{
    int64_t again = 0, better = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &again, "SELECT verdict = 'again' FROM measurement WHERE id = ?", "i",
                   measurement);
    if (!status && again)
        status = wp_sql_int(txn->sql, &better,
                            "SELECT count(*) " COUNTING
                            " AND g.verdict <> 'again' AND g.kept <> 'again'",
                            "i", measurement);
    return status || better ? status : wp_measurement_counts(txn, measurement);
}

#define OTHERS SIBLINGS("AND g.id <> o.measurement_id ") " AND m.counts = 1 "

enum wp_status wp_measurement_counts_instead(struct wp_txn *txn, int64_t measurement)
{
    int64_t other = 0;
    enum wp_status status = wp_sql_int(
        txn->sql, &other,
        "SELECT g.id " OTHERS "ORDER BY g.verdict = 'again' OR g.kept = 'again', g.id DESC LIMIT 1",
        "i", measurement);
    if (status)
        return status == WP_NOT_FOUND ? WP_OK : status;
    return wp_measurement_counts(txn, other);
}

enum wp_status wp_notice_add(struct wp_txn *txn, const struct wp_notice *notice)
{
    return wp_sql_run(
        txn->sql,
        "INSERT INTO notice (id, kind, instrument_id, measurement_id, other_id, "
        "capture_id, turn_id, text, at_us, code, from_us) VALUES (?, ?, ?, nullif(?, 0), "
        "nullif(?, 0), nullif(?, 0), nullif(?, 0), ?, ?, coalesce(?, ''), nullif(?, 0))",
        "itiiiiititi", wp_id_next(), notice->kind, notice->instrument, notice->measurement,
        notice->other, notice->capture, notice->turn, notice->text, txn->now, notice->code,
        notice->from_us);
}

enum wp_status wp_notice_settle(struct wp_txn *txn, int64_t id, int64_t person)
{
    enum wp_status status = wp_sql_run(txn->sql,
                                       "UPDATE notice SET settled_us = ?, settled_by = ? "
                                       "WHERE id = ? AND settled_us IS NULL",
                                       "iii", txn->now, person, id);
    return status ? status : wp_sql_changes(txn->sql) ? WP_OK : WP_NOT_FOUND;
}
