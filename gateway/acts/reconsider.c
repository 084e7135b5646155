#include "reconsider.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/deliver.h"
#include "acts/site.h"
#include "archive/record.h"
#include "base/bytes.h"
#include "base/clock.h"
#include "tell.h"

#define MOST 256

struct doubtful {
    int64_t id, measured_us, captured_us, turn;
    bool by_file, asked;
};

enum wp_status wp_turn_later(struct wp_txn *txn, struct wp_turn *turn)
{
    enum wp_status status =
        wp_sql_int(txn->sql, &turn->closed_us,
                   "SELECT min(opened_us) FROM turn WHERE instrument_id = ? AND opened_us > ? "
                   "HAVING count(*) > 0",
                   "ii", turn->instrument, turn->opened_us);
    if (status != WP_OK)
        return status == WP_NOT_FOUND ? WP_OK : status;
    return wp_sql_run(txn->sql,
                      "UPDATE turn SET closed_us = ?1 WHERE instrument_id = ?2 AND opened_us <= ?1 "
                      "AND (closed_us IS NULL OR closed_us > ?1)",
                      "ii", turn->opened_us, turn->instrument);
}

static enum wp_status find(struct wp_txn *txn, int64_t instrument, int64_t from,
                           struct doubtful list[MOST], size_t *count)
{
    struct wp_rows rows;
    *count = 0;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows,
        "SELECT m.id, m.measured_us, c.corrected_us, coalesce(m.turn_id, 0), "
        "m.time_source = 'file', m.asked FROM measurement m JOIN stamp s ON s.id = m.stamp_id "
        "JOIN capture c ON c.id = m.capture_id WHERE m.instrument_id = ? AND m.measured_us >= ? "
        "AND s.author = ? AND s.rule IN ('turn', 'nobody') AND s.reason NOT IN (?, ?) "
        "ORDER BY m.measured_us, m.id LIMIT 256",
        "iiitt", instrument, from, (int64_t)WP_ACTOR_SYSTEM, WP_REASON_CLOCK, WP_REASON_NAMED);
    if (status)
        return status;
    while (*count < MOST && wp_rows_next(&rows))
        list[(*count)++] = (struct doubtful){
            wp_rows_int(&rows, 0), wp_rows_int(&rows, 1),      wp_rows_int(&rows, 2),
            wp_rows_int(&rows, 3), wp_rows_int(&rows, 4) != 0, wp_rows_int(&rows, 5) != 0};
    return wp_rows_end(&rows);
}

/* The evidence that is kept of a measurement, and what the rule makes of it now. */
static enum wp_status rule(struct wp_txn *txn, int64_t instrument, const struct doubtful *one,
                           struct wp_ruling *ruling)
{
    struct wp_turn_seen turns[WP_TURNS_SEEN];
    struct wp_evidence evidence = {.has_file_time = one->by_file,
                                   .file_us = one->measured_us,
                                   /* it may have been written in whole seconds */
                                   .file_from_us = one->measured_us - WP_SECOND + 1,
                                   .export_us = one->by_file ? one->captured_us : one->measured_us,
                                   .change_us = wp_site.change_us,
                                   .silence_us = wp_site.silence_us,
                                   .turns = turns};
    if (evidence.export_us < evidence.file_us && one->by_file)
        evidence.export_us = evidence.file_us;
    enum wp_status status =
        wp_turns_seen(txn->sql, instrument, one->measured_us, evidence.export_us + WP_MINUTE, 0,
                      turns, &evidence.count);
    if (!status)
        *ruling = wp_stamping_rule(&evidence);
    return status;
}

static enum wp_status suggest(struct wp_txn *txn, const struct doubtful *one,
                              const struct wp_ruling *ruling)
{
    struct wp_turn turn = {0};
    char text[256] = "[";
    enum wp_status status =
        ruling->suggestion ? wp_turn_read(txn->sql, ruling->suggestion, &turn) : WP_OK;
    size_t used = 1;
    for (size_t i = 0; i < turn.person_count; i++)
        used += (size_t)snprintf(text + used, sizeof text - used, "%s%" PRId64, i ? "," : "",
                                 turn.persons[i]);
    memcpy(text + used, "]", 2);
    return status ? status
                  : wp_sql_run(txn->sql,
                               "UPDATE measurement SET suggestion = ?, asked = ? WHERE id = ?",
                               "tii", text, (int64_t)ruling->ask, one->id);
}

static enum wp_status stamp_again(struct wp_txn *txn, int64_t instrument,
                                  const struct doubtful *one, const struct wp_ruling *ruling)
{
    struct wp_stamp stamp = {.measurement = one->id, .author = WP_ACTOR_SYSTEM};
    struct wp_turn turn;
    enum wp_status status = WP_OK;
    wp_text_copy(stamp.rule, sizeof stamp.rule, "nobody");
    if (ruling->turn) {
        status = wp_turn_read(txn->sql, ruling->turn, &turn);
        if (!status)
            wp_stamp_from_turn(&turn, "turn", &stamp);
    } else {
        status = wp_section_by_timetable(txn->sql, instrument, one->measured_us, &stamp.section);
    }
    (void)snprintf(stamp.reason, sizeof stamp.reason, "A change of turns was heard of late. %s",
                   ruling->reason);
    if (!status)
        status = wp_stamp_add(txn, &stamp);
    if (!status)
        status = wp_measurement_set_turn(txn, one->id, ruling->turn);
    if (!status && !ruling->turn)
        return suggest(txn, one, ruling);
    if (!status)
        status = wp_measurement_counts_by_default(txn, one->id);
    return status ? status : wp_deliver_at_once(txn, one->id);
}

static enum wp_status reconsider_one(struct wp_txn *txn, int64_t instrument,
                                     const struct doubtful *one)
{
    struct wp_ruling ruling;
    enum wp_status status = rule(txn, instrument, one, &ruling);
    if (status || ruling.rule == WP_RULE_IDENTITY)
        return status;
    if (ruling.turn == one->turn)
        return one->asked ? suggest(txn, one, &ruling) : WP_OK;
    status = stamp_again(txn, instrument, one, &ruling);
    return status ? status : wp_tell_measurement(txn, instrument, "stamped", one->id);
}

enum wp_status wp_reconsider(struct wp_txn *txn, int64_t instrument, int64_t from)
{
    struct doubtful list[MOST];
    size_t count = 0;
    enum wp_status status = find(txn, instrument, from, list, &count);
    for (size_t i = 0; !status && i < count; i++)
        status = reconsider_one(txn, instrument, &list[i]);
    return status;
}
