/* Weekly meetings into the meetings that everybody reads. */
#include <inttypes.h>
#include <string.h>

#include "base/bytes.h"
#include "base/id.h"
#include "weekly.h"

#define WEEKLY_AT_ONCE 2000

enum wp_status wp_weekly_read(struct wp_sql *sql, int64_t id, struct wp_weekly *weekly,
                              struct wp_error *error)
{
    memset(weekly, 0, sizeof *weekly);
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT w.section_id, w.weekday, w.starts_minute, w.ends_minute, w.first_day, w.last_day, "
        "coalesce(nullif(w.first_day, 0), t.first_day, 0), "
        "coalesce(nullif(w.last_day, 0), t.last_day, 0), w.place FROM weekly w JOIN section s "
        "ON s.id = w.section_id LEFT JOIN term t ON t.id = s.term_id WHERE w.id = ? AND "
        "w.ended_us IS NULL",
        "i", id);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        weekly->id = id;
        weekly->section = wp_rows_int(&rows, 0);
        weekly->weekday = (int)wp_rows_int(&rows, 1);
        weekly->starts = (int)wp_rows_int(&rows, 2);
        weekly->ends = (int)wp_rows_int(&rows, 3);
        weekly->first = (int)wp_rows_int(&rows, 4);
        weekly->last = (int)wp_rows_int(&rows, 5);
        weekly->from = (int)wp_rows_int(&rows, 6);
        weekly->until = (int)wp_rows_int(&rows, 7);
        wp_text_copy(weekly->place, sizeof weekly->place, wp_rows_text(&rows, 8));
    }
    status = wp_rows_end(&rows);
    if (!status && !weekly->id)
        return wp_fail(error, WP_NOT_FOUND, "There is no such weekly meeting.");
    return status;
}

enum wp_status wp_meeting_free(struct wp_sql *sql, int64_t section, struct wp_span span,
                               struct wp_error *error)
{
    int64_t other = 0, ahead = 0;
    char when[WP_ISO_ROOM];
    enum wp_status status =
        wp_sql_int(sql, &other,
                   "SELECT starts_us FROM meeting WHERE section_id = ? AND starts_us < ? AND "
                   "ends_us > ? LIMIT 1",
                   "iii", section, span.ends_us, span.starts_us);
    if (status == WP_OK) {
        wp_clock_local(other, when);
        return wp_fail(error, WP_INVALID, "It overlaps a meeting of this section on %s.", when);
    }
    if (status != WP_NOT_FOUND)
        return status;
    status = wp_sql_int(sql, &ahead,
                        "SELECT count(*) FROM meeting WHERE section_id = ? AND starts_us > ?", "ii",
                        section, wp_clock_utc());
    if (!status && ahead >= WP_MEETINGS_MOST)
        return wp_fail(error, WP_TOO_LARGE, "A section has at most %d meetings to come.",
                       WP_MEETINGS_MOST);
    return status;
}

struct held {
    bool excepted;
    int day; /* 0: left out */
    int starts, ends;
    char place[256];
};

static enum wp_status how_held(struct wp_sql *sql, const struct wp_weekly *weekly, int day,
                               struct held *held)
{
    *held = (struct held){.day = day, .starts = weekly->starts, .ends = weekly->ends};
    wp_text_copy(held->place, sizeof held->place, weekly->place);
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT new_day, starts_minute, ends_minute, place FROM weekly_except "
                     "WHERE weekly_id = ? AND day = ?",
                     "ii", weekly->id, (int64_t)day);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        held->excepted = true;
        held->day = (int)wp_rows_int(&rows, 0);
        held->starts = (int)wp_rows_int(&rows, 1);
        held->ends = (int)wp_rows_int(&rows, 2);
        if (wp_rows_text(&rows, 3)[0])
            wp_text_copy(held->place, sizeof held->place, wp_rows_text(&rows, 3));
    }
    return wp_rows_end(&rows);
}

/* What has begun stays as it was, so that its day is not held a second time. */
static enum wp_status expand_day(struct wp_txn *txn, const struct wp_weekly *weekly, int day,
                                 struct wp_error *error)
{
    struct held held;
    int64_t begun = 0;
    enum wp_status status = how_held(txn->sql, weekly, day, &held);
    if (!status)
        status = wp_sql_int(txn->sql, &begun,
                            "SELECT count(*) FROM meeting WHERE weekly_id = ? AND weekly_day = ?",
                            "ii", weekly->id, (int64_t)day);
    if (status || begun || !held.day)
        return status;
    struct wp_span span = wp_day_span(held.day, held.starts, held.ends);
    if (span.starts_us <= txn->now)
        return WP_OK;
    status = wp_meeting_free(txn->sql, weekly->section, span, error);
    return status ? status
                  : wp_sql_run(txn->sql,
                               "INSERT INTO meeting (id, section_id, starts_us, ends_us, "
                               "weekly_id, weekly_day, place) VALUES (?, ?, ?, ?, ?, ?, ?)",
                               "iiiiiit", wp_id_next(), weekly->section, span.starts_us,
                               span.ends_us, weekly->id, (int64_t)day, held.place);
}

enum wp_status wp_weekly_expand(struct wp_txn *txn, const struct wp_weekly *weekly,
                                struct wp_error *error)
{
    if (!weekly->from || !weekly->until)
        return wp_fail(error, WP_INVALID,
                       "The section belongs to no term: say \"from\" and \"until\".");
    if (weekly->until < weekly->from)
        return wp_fail(error, WP_INVALID, "The last day is before the first.");
    if (wp_days_between(weekly->from, weekly->until) >= WP_TERM_DAYS)
        return wp_fail(error, WP_INVALID, "A weekly meeting spans at most %d days.", WP_TERM_DAYS);
    enum wp_status status =
        wp_sql_run(txn->sql, "DELETE FROM meeting WHERE weekly_id = ? AND starts_us > ?", "ii",
                   weekly->id, txn->now);
    int day = weekly->from;
    while (wp_day_weekday(day) != weekly->weekday)
        day = wp_day_add(day, 1);
    for (; !status && day <= weekly->until; day = wp_day_add(day, 7))
        status = expand_day(txn, weekly, day, error);
    return status;
}

enum wp_status wp_timetable_refresh(struct wp_txn *txn, int64_t section, int64_t term,
                                    struct wp_error *error)
{
    static _Thread_local int64_t ids[WEEKLY_AT_ONCE];
    size_t count = 0;
    struct wp_rows rows;
    struct wp_weekly weekly;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows,
        "SELECT w.id FROM weekly w JOIN section s ON s.id = w.section_id WHERE w.ended_us IS NULL "
        "AND ((?1 <> 0 AND s.id = ?1) OR (?1 = 0 AND s.term_id = ?2)) ORDER BY w.id",
        "ii", section, term);
    if (status)
        return status;
    while (count < WEEKLY_AT_ONCE && wp_rows_next(&rows))
        ids[count++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    /* All are taken back before the first is expanded, so that none stands in another's way. */
    for (size_t i = 0; !status && i < count; i++)
        status = wp_sql_run(txn->sql, "DELETE FROM meeting WHERE weekly_id = ? AND starts_us > ?",
                            "ii", ids[i], txn->now);
    for (size_t i = 0; !status && i < count; i++) {
        status = wp_weekly_read(txn->sql, ids[i], &weekly, error);
        if (!status)
            status = wp_weekly_expand(txn, &weekly, error);
    }
    return status;
}
