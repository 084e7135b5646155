#include "people/turns.h"

#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "base/clock.h"
#include "base/id.h"
#include "people/timetable.h"

static enum wp_status close_before(struct wp_txn *txn, const struct wp_turn *turn)
{
    return wp_sql_run(txn->sql,
                      "UPDATE turn SET closed_us = ? WHERE instrument_id = ? AND "
                      "closed_us IS NULL AND opened_us <= ?",
                      "iii", turn->opened_us, turn->instrument, turn->opened_us);
}

enum wp_status wp_turn_open(struct wp_txn *txn, struct wp_turn *turn)
{
    turn->id = wp_id_next();
    enum wp_status status = turn->closed_us ? WP_OK : close_before(txn, turn);
    if (status)
        return status;
    status = wp_sql_run(
        txn->sql,
        "INSERT INTO turn (id, instrument_id, section_id, experiment_id, sample, kind, "
        "preparation, plates, guest, opened_us, closed_us, source, author_id) "
        "VALUES (?, ?, nullif(?, 0), nullif(?, 0), ?, ?, ?, ?, ?, ?, nullif(?, 0), ?, ?)",
        "iiiitttttiiti", turn->id, turn->instrument, turn->section, turn->experiment, turn->sample,
        turn->kind[0] ? turn->kind : "sample", turn->preparation, turn->plates, turn->guest,
        turn->opened_us, turn->closed_us, turn->source, turn->author);
    for (size_t i = 0; !status && i < turn->person_count; i++)
        status = wp_sql_run(txn->sql, "INSERT INTO turn_person (turn_id, person_id) VALUES (?, ?)",
                            "ii", turn->id, turn->persons[i]);
    return status;
}

enum wp_status wp_turn_close(struct wp_txn *txn, int64_t instrument, int64_t at, int64_t *id)
{
    enum wp_status status = wp_sql_int(
        txn->sql, id,
        "SELECT id FROM turn WHERE instrument_id = ? AND closed_us IS NULL ORDER BY opened_us DESC",
        "i", instrument);
    return status ? status
                  : wp_sql_run(txn->sql,
                               "UPDATE turn SET done_us = max(?1, opened_us), "
                               "closed_us = max(?1, opened_us) WHERE id = ?2",
                               "ii", at, *id);
}

enum wp_status wp_turn_join(struct wp_txn *txn, struct wp_turn *turn, int64_t person)
{
    for (size_t i = 0; i < turn->person_count; i++)
        if (turn->persons[i] == person)
            return WP_OK;
    if (turn->person_count == WP_TURN_PERSONS)
        return WP_TOO_LARGE;
    turn->persons[turn->person_count++] = person;
    return wp_sql_run(txn->sql, "INSERT INTO turn_person (turn_id, person_id) VALUES (?, ?)", "ii",
                      turn->id, person);
}

enum wp_status wp_turn_confirm(struct wp_txn *txn, int64_t turn)
{
    return wp_sql_run(txn->sql, "UPDATE turn SET confirmed_us = ? WHERE id = ?", "ii", txn->now,
                      turn);
}

static enum wp_status read_persons(struct wp_sql *sql, struct wp_turn *turn)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT person_id FROM turn_person WHERE turn_id = ? ORDER BY person_id", "i",
        turn->id);
    if (status)
        return status;
    while (wp_rows_next(&rows) && turn->person_count < WP_TURN_PERSONS)
        turn->persons[turn->person_count++] = wp_rows_int(&rows, 0);
    return wp_rows_end(&rows);
}

enum wp_status wp_turn_read(struct wp_sql *sql, int64_t id, struct wp_turn *turn)
{
    memset(turn, 0, sizeof *turn);
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT id, instrument_id, section_id, experiment_id, sample, kind, "
                     "preparation, plates, guest, opened_us, closed_us FROM turn WHERE id = ?",
                     "i", id);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        turn->id = wp_rows_int(&rows, 0);
        turn->instrument = wp_rows_int(&rows, 1);
        turn->section = wp_rows_int(&rows, 2);
        turn->experiment = wp_rows_int(&rows, 3);
        wp_text_copy(turn->sample, sizeof turn->sample, wp_rows_text(&rows, 4));
        wp_text_copy(turn->kind, sizeof turn->kind, wp_rows_text(&rows, 5));
        wp_text_copy(turn->preparation, sizeof turn->preparation, wp_rows_text(&rows, 6));
        wp_text_copy(turn->plates, sizeof turn->plates, wp_rows_text(&rows, 7));
        wp_text_copy(turn->guest, sizeof turn->guest, wp_rows_text(&rows, 8));
        turn->opened_us = wp_rows_int(&rows, 9);
        turn->closed_us = wp_rows_int(&rows, 10);
    }
    status = wp_rows_end(&rows);
    if (!status && !found)
        status = WP_NOT_FOUND;
    return status ? status : read_persons(sql, turn);
}

enum wp_status wp_turn_current(struct wp_sql *sql, int64_t instrument, struct wp_turn *turn)
{
    int64_t id = 0;
    enum wp_status status = wp_sql_int(
        sql, &id,
        "SELECT id FROM turn WHERE instrument_id = ? AND closed_us IS NULL ORDER BY opened_us DESC",
        "i", instrument);
    return status ? status : wp_turn_read(sql, id, turn);
}

enum wp_status wp_turns_seen(struct wp_sql *sql, int64_t instrument, int64_t from, int64_t to,
                             int64_t named, struct wp_turn_seen turns[WP_TURNS_SEEN], size_t *count)
{
    *count = 0;
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT * FROM (SELECT t.id, t.opened_us, t.closed_us, t.confirmed_us, "
        "(SELECT max(m.measured_us) FROM measurement m WHERE m.turn_id = t.id), "
        "coalesce(e.expected, 0), "
        "(SELECT count(*) FROM measurement m WHERE m.turn_id = t.id AND m.kept <> 'again'), "
        "(SELECT count(*) FROM turn_person p WHERE p.turn_id = t.id AND p.person_id = ?4) "
        "FROM turn t LEFT JOIN experiment e ON e.id = t.experiment_id WHERE t.id IN "
        "(SELECT id FROM turn WHERE instrument_id = ?1 AND closed_us IS NULL UNION ALL "
        "SELECT id FROM turn WHERE instrument_id = ?1 AND closed_us >= ?2) "
        "AND t.opened_us <= ?3 ORDER BY t.opened_us DESC LIMIT 16) "
        "ORDER BY opened_us",
        "iiii", instrument, from - WP_SILENCE_US, to, named);
    if (status)
        return status;
    while (*count < WP_TURNS_SEEN && wp_rows_next(&rows)) {
        turns[(*count)++] = (struct wp_turn_seen){
            .id = wp_rows_int(&rows, 0),
            .opened_us = wp_rows_int(&rows, 1),
            .closed_us = wp_rows_int(&rows, 2),
            .confirmed_us = wp_rows_int(&rows, 3),
            .last_us = wp_rows_int(&rows, 4),
            .expected = (int)wp_rows_int(&rows, 5),
            .seen = (int)wp_rows_int(&rows, 6),
            .named_is_in = wp_rows_int(&rows, 7) > 0,
        };
    }
    return wp_rows_end(&rows);
}

/* A section without a place meets everywhere; one with a place meets at the instruments below it.
 */
enum wp_status wp_section_by_timetable(struct wp_sql *sql, int64_t instrument, int64_t at,
                                       int64_t *section)
{
    *section = 0;
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT DISTINCT m.section_id FROM meeting m JOIN section s ON s.id = m.section_id "
        "JOIN instrument i ON i.id = ? WHERE m.starts_us <= ? AND m.ends_us > ? AND "
        "s.ended_us IS NULL AND " WP_MEETS_AT_INSTRUMENT " LIMIT 2",
        "iii", instrument, at, at);
    if (status)
        return status;
    int found = 0;
    while (wp_rows_next(&rows)) {
        *section = found++ ? 0 : wp_rows_int(&rows, 0);
    }
    return wp_rows_end(&rows);
}
