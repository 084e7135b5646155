#include <inttypes.h>
#include <string.h>

#include "base/bytes.h"
#include "base/id.h"
#include "people/persons.h"
#include "weekly.h"

#define EXCEPT_AT_ONCE 500

static enum wp_status ask_minutes(const struct wp_ask *ask, int *starts, int *ends,
                                  struct wp_error *error)
{
    const char *from = wp_ask_text(ask, "starts"), *to = wp_ask_text(ask, "ends");
    if ((from && !wp_minute_parse(from, starts)) || (to && !wp_minute_parse(to, ends)))
        return wp_fail(error, WP_INVALID,
                       "\"starts\" and \"ends\" are local times such as 14:00 or 9:05.");
    if (*ends <= *starts)
        return wp_fail(error, WP_INVALID, "The meeting ends before it starts.");
    return WP_OK;
}

/* A day of the body; "" takes it away: the term's counts again. */
static enum wp_status ask_day(const struct wp_ask *ask, const char *name, int *day,
                              struct wp_error *error)
{
    const char *text = wp_ask_text(ask, name);
    if (text && !*text)
        *day = 0;
    else if (text && !wp_day_parse(text, day))
        return wp_fail(error, WP_INVALID, "\"%s\": \"%.32s\" is not a day such as 2026-03-02.",
                       name, text);
    return WP_OK;
}

static enum wp_status ask_place(const struct wp_ask *ask, char place[256], struct wp_error *error)
{
    const char *text = wp_ask_text(ask, "place");
    if (text && !wp_typed_ok(text, 255, true))
        return wp_fail(error, WP_INVALID, "A place is at most 255 bytes of plain text.");
    if (text)
        wp_text_copy(place, 256, text);
    return WP_OK;
}

static enum wp_status ask_weekly(const struct wp_ask *ask, struct wp_weekly *weekly,
                                 struct wp_error *error)
{
    const char *weekday = wp_ask_text(ask, "weekday");
    if (weekday && !wp_weekday_parse(weekday, &weekly->weekday))
        return wp_fail(error, WP_INVALID, "There is no weekday \"%.32s\".", weekday);
    if (!weekly->weekday)
        return wp_fail(error, WP_INVALID, "\"weekday\" is missing.");
    enum wp_status status = ask_minutes(ask, &weekly->starts, &weekly->ends, error);
    if (!status)
        status = ask_day(ask, "from", &weekly->first, error);
    if (!status)
        status = ask_day(ask, "until", &weekly->last, error);
    return status ? status : ask_place(ask, weekly->place, error);
}

static enum wp_status expand_new(struct wp_txn *txn, int64_t id, struct wp_error *error)
{
    struct wp_weekly weekly;
    enum wp_status status = wp_weekly_read(txn->sql, id, &weekly, error);
    return status ? status : wp_weekly_expand(txn, &weekly, error);
}

enum wp_status wp_weekly_add(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                             struct wp_error *error)
{
    struct wp_weekly weekly = {0};
    enum wp_status status = wp_section_named(txn->sql, ask, &weekly.section, error);
    if (!status)
        status = ask_weekly(ask, &weekly, error);
    if (status)
        return status;
    *id = wp_id_next();
    status = wp_sql_run(txn->sql,
                        "INSERT INTO weekly (id, section_id, weekday, starts_minute, ends_minute, "
                        "first_day, last_day, place, created_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?, "
                        "?)",
                        "iiiiiiiti", *id, weekly.section, (int64_t)weekly.weekday,
                        (int64_t)weekly.starts, (int64_t)weekly.ends, (int64_t)weekly.first,
                        (int64_t)weekly.last, weekly.place, txn->now);
    return status ? status : expand_new(txn, *id, error);
}

enum wp_status wp_weekly_change(struct wp_txn *txn, const struct wp_ask *ask, int64_t id,
                                struct wp_error *error)
{
    struct wp_weekly weekly;
    enum wp_status status = wp_weekly_read(txn->sql, id, &weekly, error);
    if (!status)
        status = ask_weekly(ask, &weekly, error);
    if (status)
        return status;
    status =
        wp_sql_run(txn->sql,
                   "UPDATE weekly SET weekday = ?, starts_minute = ?, ends_minute = ?, "
                   "first_day = ?, last_day = ?, place = ? WHERE id = ?",
                   "iiiiiti", (int64_t)weekly.weekday, (int64_t)weekly.starts, (int64_t)weekly.ends,
                   (int64_t)weekly.first, (int64_t)weekly.last, weekly.place, id);
    return status ? status : expand_new(txn, id, error);
}

enum wp_status wp_weekly_end(struct wp_txn *txn, int64_t id, struct wp_error *error)
{
    enum wp_status status =
        wp_sql_run(txn->sql, "UPDATE weekly SET ended_us = ? WHERE id = ? AND ended_us IS NULL",
                   "ii", txn->now, id);
    if (!status && !wp_sql_changes(txn->sql))
        return wp_fail(error, WP_NOT_FOUND, "There is no such weekly meeting.");
    return status
               ? status
               : wp_sql_run(txn->sql, "DELETE FROM meeting WHERE weekly_id = ? AND starts_us > ?",
                            "ii", id, txn->now);
}

/* ---- exceptions ---- */

struct exception {
    int day;
    bool undo, moved;
    int new_day;
    const char *place;
};

static enum wp_status ask_exception(const struct wp_ask *ask, struct exception *exception,
                                    struct wp_error *error)
{
    const char *moved = wp_ask_text(ask, "moved_to");
    exception->undo = wp_ask_flag(ask, "undo");
    exception->place = wp_ask_text(ask, "place");
    if (!wp_day_parse(wp_ask_text(ask, "day"), &exception->day))
        return wp_fail(error, WP_INVALID, "\"day\" is a day such as 2026-11-26.");
    exception->new_day = exception->day;
    if (moved && !wp_day_parse(moved, &exception->new_day))
        return wp_fail(error, WP_INVALID, "\"moved_to\" is a day such as 2026-11-27.");
    exception->moved =
        moved || exception->place || wp_ask_text(ask, "starts") || wp_ask_text(ask, "ends");
    if (exception->place && !wp_typed_ok(exception->place, 255, true))
        return wp_fail(error, WP_INVALID, "A place is at most 255 bytes of plain text.");
    return WP_OK;
}

static enum wp_status store_exception(struct wp_txn *txn, const struct exception *exception,
                                      const struct wp_weekly *weekly, int starts, int ends)
{
    if (exception->undo)
        return wp_sql_run(txn->sql, "DELETE FROM weekly_except WHERE weekly_id = ? AND day = ?",
                          "ii", weekly->id, (int64_t)exception->day);
    return wp_sql_run(
        txn->sql,
        "INSERT INTO weekly_except (weekly_id, day, new_day, starts_minute, ends_minute, place) "
        "VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (weekly_id, day) DO UPDATE SET new_day = "
        "excluded.new_day, starts_minute = excluded.starts_minute, ends_minute = "
        "excluded.ends_minute, place = excluded.place",
        "iiiiit", weekly->id, (int64_t)exception->day,
        exception->moved ? (int64_t)exception->new_day : (int64_t)0, (int64_t)starts, (int64_t)ends,
        exception->place ? exception->place : "");
}

static enum wp_status except_one(struct wp_txn *txn, const struct wp_ask *ask, int64_t id,
                                 const struct exception *exception, struct wp_error *error)
{
    struct wp_weekly weekly;
    int64_t begun = 0;
    char day[WP_DAY_ROOM];
    enum wp_status status = wp_weekly_read(txn->sql, id, &weekly, error);
    if (status)
        return status;
    int starts = weekly.starts, ends = weekly.ends;
    status = ask_minutes(ask, &starts, &ends, error);
    if (!status)
        status = wp_sql_int(txn->sql, &begun,
                            "SELECT count(*) FROM meeting WHERE weekly_id = ? AND weekly_day = ? "
                            "AND starts_us <= ?",
                            "iii", id, (int64_t)exception->day, txn->now);
    if (status)
        return status;
    wp_day_text(exception->day, day);
    if (begun)
        return wp_fail(error, WP_CONFLICT, "The meeting of %s has begun already.", day);
    if (exception->moved && !exception->undo &&
        wp_day_span(exception->new_day, starts, ends).starts_us <= txn->now)
        return wp_fail(error, WP_INVALID, "A meeting cannot be moved into the past.");
    status = store_exception(txn, exception, &weekly, starts, ends);
    return status ? status : wp_weekly_expand(txn, &weekly, error);
}

/* The weekly meetings that are meant and fall on that day. */
static enum wp_status meant(struct wp_txn *txn, const struct wp_ask *ask, int day, int64_t *ids,
                            size_t *count, struct wp_error *error)
{
    int64_t weekly = 0, section = 0, term = 0;
    const char *term_code = wp_ask_text(ask, "term");
    enum wp_status status = WP_OK;
    *count = 0;
    if (!wp_ask_int(ask, "weekly", &weekly))
        status = term_code ? wp_term_named(txn->sql, term_code, &term, error)
                           : wp_section_named(txn->sql, ask, &section, error);
    if (status)
        return status;
    struct wp_rows rows;
    status = wp_sql_query(
        txn->sql, &rows,
        "SELECT w.id FROM weekly w JOIN section s ON s.id = w.section_id LEFT JOIN term t ON "
        "t.id = s.term_id WHERE w.ended_us IS NULL AND w.weekday = ?1 AND ((?2 <> 0 AND w.id = ?2) "
        "OR (?2 = 0 AND ?3 <> 0 AND s.id = ?3) OR (?2 = 0 AND ?3 = 0 AND s.term_id = ?4)) AND "
        "coalesce(nullif(w.first_day, 0), t.first_day, 0) <= ?5 AND "
        "coalesce(nullif(w.last_day, 0), t.last_day, 0) >= ?5 ORDER BY w.id LIMIT 500",
        "iiiii", (int64_t)wp_day_weekday(day), weekly, section, term, (int64_t)day);
    if (status)
        return status;
    while (*count < EXCEPT_AT_ONCE && wp_rows_next(&rows))
        ids[(*count)++] = wp_rows_int(&rows, 0);
    return wp_rows_end(&rows);
}

enum wp_status wp_weekly_except(struct wp_txn *txn, const struct wp_ask *ask, int64_t *changed,
                                struct wp_error *error)
{
    static _Thread_local int64_t ids[EXCEPT_AT_ONCE];
    struct exception exception = {0};
    size_t count = 0;
    char day[WP_DAY_ROOM];
    *changed = 0;
    enum wp_status status = ask_exception(ask, &exception, error);
    if (!status)
        status = meant(txn, ask, exception.day, ids, &count, error);
    if (status)
        return status;
    wp_day_text(exception.day, day);
    if (!count)
        return wp_fail(error, WP_NOT_FOUND, "No weekly meeting falls on %s, a %s.", day,
                       wp_weekday_text(wp_day_weekday(exception.day)));
    for (size_t i = 0; !status && i < count; i++) {
        status = except_one(txn, ask, ids[i], &exception, error);
        (*changed)++;
    }
    return status;
}

/* ---- single meetings ---- */

enum wp_status wp_meeting_add(struct wp_txn *txn, int64_t section, struct wp_span span,
                              const char *place, int64_t *id, struct wp_error *error)
{
    if (span.ends_us <= span.starts_us)
        return wp_fail(error, WP_INVALID, "The meeting ends before it starts.");
    if (span.ends_us - span.starts_us > WP_DAY)
        return wp_fail(error, WP_INVALID, "A meeting lasts at most a day.");
    if (place && !wp_typed_ok(place, 255, true))
        return wp_fail(error, WP_INVALID, "A place is at most 255 bytes of plain text.");
    enum wp_status status = wp_meeting_free(txn->sql, section, span, error);
    if (status)
        return status;
    *id = wp_id_next();
    return wp_sql_run(txn->sql,
                      "INSERT INTO meeting (id, section_id, starts_us, ends_us, place) "
                      "VALUES (?, ?, ?, ?, ?)",
                      "iiiit", *id, section, span.starts_us, span.ends_us, place ? place : "");
}

enum wp_status wp_meeting_remove(struct wp_txn *txn, int64_t id, struct wp_error *error)
{
    int64_t weekly = 0;
    enum wp_status status = wp_sql_int(
        txn->sql, &weekly, "SELECT coalesce(weekly_id, 0) FROM meeting WHERE id = ?", "i", id);
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "There is no such meeting.");
    if (!status && weekly)
        return wp_fail(error, WP_CONFLICT,
                       "It is one of a weekly meeting: leave its day out instead.");
    if (!status)
        status = wp_sql_run(txn->sql, "DELETE FROM meeting WHERE id = ? AND starts_us > ?", "ii",
                            id, txn->now);
    if (!status && !wp_sql_changes(txn->sql))
        return wp_fail(error, WP_CONFLICT, "This meeting has begun already.");
    return status;
}
