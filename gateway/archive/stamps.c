#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "archive/record.h"
#include "base/bytes.h"
#include "base/clock.h"
#include "base/id.h"

static enum wp_status add_revision(struct wp_txn *txn, const struct wp_stamp *stamp, int64_t *id)
{
    *id = wp_id_next();
    return wp_sql_run(
        txn->sql,
        "INSERT INTO stamp (id, measurement_id, revision, section_id, experiment_id, sample, kind, "
        "preparation, plates, guest, rule, author, author_id, reason, at_us) "
        "VALUES (?1, ?2, (SELECT coalesce(max(revision), 0) + 1 FROM stamp WHERE "
        "measurement_id = ?2), nullif(?3, 0), nullif(?4, 0), ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, "
        "?13, ?14)",
        "iiiittttttiiti", *id, stamp->measurement, stamp->section, stamp->experiment, stamp->sample,
        stamp->kind[0] ? stamp->kind : "sample", stamp->preparation, stamp->plates, stamp->guest,
        stamp->rule, (int64_t)stamp->author, stamp->author_id, stamp->reason, txn->now);
}

static enum wp_status set_persons(struct wp_txn *txn, const struct wp_stamp *stamp, int64_t id)
{
    enum wp_status status =
        wp_sql_run(txn->sql, "DELETE FROM owned WHERE measurement_id = ?", "i", stamp->measurement);
    for (size_t i = 0; !status && i < stamp->person_count; i++) {
        status =
            wp_sql_run(txn->sql, "INSERT INTO stamp_person (stamp_id, person_id) VALUES (?, ?)",
                       "ii", id, stamp->persons[i]);
        if (!status)
            status =
                wp_sql_run(txn->sql, "INSERT INTO owned (person_id, measurement_id) VALUES (?, ?)",
                           "ii", stamp->persons[i], stamp->measurement);
    }
    return status;
}

static enum wp_status set_current(struct wp_txn *txn, const struct wp_stamp *stamp, int64_t id)
{
    bool claimed = stamp->person_count > 0 || stamp->guest[0];
    if (claimed)
        return wp_sql_run(txn->sql,
                          "UPDATE measurement SET stamp_id = ?, section_id = nullif(?, 0), "
                          "experiment_id = nullif(?, 0), unclaimed = 0, asked = 0, "
                          "claim_hash = NULL, claim_until_us = NULL WHERE id = ?",
                          "iiii", id, stamp->section, stamp->experiment, stamp->measurement);
    char code[WP_CODE_ROOM];
    unsigned char hash[WP_HASH_SIZE];
    enum wp_status status = wp_claim_code(txn->sql, stamp->measurement, code);
    if (status)
        return status;
    wp_token_hash(code, hash);
    /* A code may be used until the end of the local day. */
    int day = wp_clock_local_day(txn->now);
    int64_t midnight = wp_clock_from_local(day / 10000, day / 100 % 100, day % 100, 24 * 60);
    return wp_sql_run(txn->sql,
                      "UPDATE measurement SET stamp_id = ?, section_id = nullif(?, 0), "
                      "experiment_id = nullif(?, 0), unclaimed = 1, claim_hash = ?, "
                      "claim_until_us = ? WHERE id = ?",
                      "iiibii", id, stamp->section, stamp->experiment, hash, sizeof hash, midnight,
                      stamp->measurement);
}

enum wp_status wp_stamp_add(struct wp_txn *txn, const struct wp_stamp *stamp)
{
    int64_t id = 0;
    enum wp_status status = add_revision(txn, stamp, &id);
    if (!status)
        status = set_persons(txn, stamp, id);
    if (!status)
        status = set_current(txn, stamp, id);
    char subject[64];
    (void)snprintf(subject, sizeof subject, "measurement:%" PRId64, stamp->measurement);
    return status ? status
                  : wp_ledger_add(txn, stamp->author, stamp->author_id, "stamp", subject,
                                  stamp->rule, NULL);
}

static enum wp_status read_persons(struct wp_sql *sql, int64_t id, struct wp_stamp *stamp)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT person_id FROM stamp_person WHERE stamp_id = ? ORDER BY person_id", "i",
        id);
    if (status)
        return status;
    while (wp_rows_next(&rows) && stamp->person_count < WP_TURN_PERSONS)
        stamp->persons[stamp->person_count++] = wp_rows_int(&rows, 0);
    return wp_rows_end(&rows);
}

enum wp_status wp_stamp_read(struct wp_sql *sql, int64_t measurement, struct wp_stamp *stamp)
{
    memset(stamp, 0, sizeof *stamp);
    stamp->measurement = measurement;
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT s.id, s.section_id, s.experiment_id, s.sample, s.kind, s.preparation, s.plates, "
        "s.guest, s.rule, s.reason, s.author, s.author_id FROM measurement m JOIN stamp s "
        "ON s.id = m.stamp_id WHERE m.id = ?",
        "i", measurement);
    if (status)
        return status;
    int64_t id = 0;
    if (wp_rows_next(&rows)) {
        id = wp_rows_int(&rows, 0);
        stamp->section = wp_rows_int(&rows, 1);
        stamp->experiment = wp_rows_int(&rows, 2);
        wp_text_copy(stamp->sample, sizeof stamp->sample, wp_rows_text(&rows, 3));
        wp_text_copy(stamp->kind, sizeof stamp->kind, wp_rows_text(&rows, 4));
        wp_text_copy(stamp->preparation, sizeof stamp->preparation, wp_rows_text(&rows, 5));
        wp_text_copy(stamp->plates, sizeof stamp->plates, wp_rows_text(&rows, 6));
        wp_text_copy(stamp->guest, sizeof stamp->guest, wp_rows_text(&rows, 7));
        wp_text_copy(stamp->rule, sizeof stamp->rule, wp_rows_text(&rows, 8));
        wp_text_copy(stamp->reason, sizeof stamp->reason, wp_rows_text(&rows, 9));
        stamp->author = (enum wp_actor)wp_rows_int(&rows, 10);
        stamp->author_id = wp_rows_int(&rows, 11);
    }
    status = wp_rows_end(&rows);
    if (!status && !id)
        status = WP_NOT_FOUND;
    return status ? status : read_persons(sql, id, stamp);
}

void wp_stamp_from_turn(const struct wp_turn *turn, const char *rule, struct wp_stamp *stamp)
{
    stamp->section = turn->section;
    stamp->experiment = turn->experiment;
    stamp->person_count = turn->person_count;
    memcpy(stamp->persons, turn->persons, sizeof stamp->persons);
    wp_text_copy(stamp->sample, sizeof stamp->sample, turn->sample);
    wp_text_copy(stamp->kind, sizeof stamp->kind, turn->kind);
    wp_text_copy(stamp->preparation, sizeof stamp->preparation, turn->preparation);
    wp_text_copy(stamp->plates, sizeof stamp->plates, turn->plates);
    wp_text_copy(stamp->guest, sizeof stamp->guest, turn->guest);
    wp_text_copy(stamp->rule, sizeof stamp->rule, rule);
}

/* Letters and digits that cannot be taken for one another (no 0 1 I L O U), as in base/secret.h. */
static const char alphabet[] = "23456789ABCDEFGHJKMNPQRSTVWXYZ";

enum wp_status wp_claim_code(struct wp_sql *sql, int64_t measurement, char code[WP_CODE_ROOM])
{
    struct wp_rows rows;
    char seed[128];
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT value FROM setting WHERE name = 'claim_key'", "");
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found)
        (void)snprintf(seed, sizeof seed, "%s:%" PRId64, wp_rows_text(&rows, 0), measurement);
    status = wp_rows_end(&rows);
    if (status || !found)
        return status ? status : WP_NOT_FOUND;
    unsigned char hash[WP_HASH_SIZE];
    wp_token_hash(seed, hash);
    size_t at = 0;
    for (size_t i = 0; i < 8; i++) {
        if (i == 4)
            code[at++] = '-';
        /* Two bytes modulo 30: the bias is below 0.05 %. */
        code[at++] = alphabet[(hash[2 * i] * 256 + hash[2 * i + 1]) % 30];
    }
    code[at] = '\0';
    return WP_OK;
}
