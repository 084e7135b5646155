/* people/timetable.h - terms, weekly meetings, and the days between.
 *
 * A timetable is kept as people say it: "Mondays 14:00 to 17:00, all term, not on 30 November". It
 * expands into rows of table `meeting`, one a class, which is all that anybody else reads. Times of
 * day are the gateway's local ones: a class at 14:00 stays at 14:00 when summer time begins or
 * ends. Expanding again after a change replaces what is still to come and never touches what has
 * begun.
 *
 * Days are whole numbers such as 20260302; times of day are minutes after local midnight, 0 to
 * 1440. The functions on days are pure and may be called by any thread; the others run inside write
 * jobs. Members of the body are texts: days "2026-03-02", times "14:00", weekdays "monday" or
 * "mon".
 */
#ifndef PEOPLE_TIMETABLE_H
#define PEOPLE_TIMETABLE_H

#include "base/clock.h"
#include "people/ask.h"

#define WP_DAY_ROOM 16
#define WP_TERM_DAYS 400     /* a term, or a weekly meeting's span, is at most so long */
#define WP_MEETINGS_MOST 500 /* meetings to come of one section */

/* "2026-03-02", a day there is, from 1990 to 2199. */
bool wp_day_parse(const char *text, int *day);
void wp_day_text(int day, char text[WP_DAY_ROOM]);
int wp_day_add(int day, int days);
int wp_days_between(int from, int to);
/* 1 Monday to 7 Sunday. */
int wp_day_weekday(int day);
bool wp_weekday_parse(const char *text, int *weekday);
const char *wp_weekday_text(int weekday);
/* "14:00", "9:05"; "24:00" is the end of the day. */
bool wp_minute_parse(const char *text, int *minute);
void wp_minute_text(int minute, char text[WP_DAY_ROOM]);

/* The instants of a meeting on a local day. Where a change of summer time swallows its end, it
 * keeps its length. */
struct wp_span {
    int64_t starts_us;
    int64_t ends_us;
};
struct wp_span wp_day_span(int day, int starts_minute, int ends_minute);

/* ---- terms ---- */

/* Adds a term by `code`, or changes its `title`, `first`, `last`; expands the weekly meetings of
 * its sections again. Sections that ended with it are open again if it now ends later, and end at
 * once if it is over. WP_INVALID, with words. */
enum wp_status wp_term_put(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                           struct wp_error *error);
/* WP_CONFLICT: sections belong to it. WP_NOT_FOUND. */
enum wp_status wp_term_remove(struct wp_txn *txn, int64_t id, struct wp_error *error);
enum wp_status wp_term_named(struct wp_sql *sql, const char *code, int64_t *id,
                             struct wp_error *error);
/* Sections end with their term: demonstrators' and markers' roles with them. `*ended` counts terms.
 * To be called from time to time. */
enum wp_status wp_terms_end(struct wp_txn *txn, int64_t *ended);

/* ---- weekly meetings ---- */

/* Body: course, section, weekday, starts, ends, and if not the term's days: from, until; place. */
enum wp_status wp_weekly_add(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                             struct wp_error *error);
/* What is given changes from the next meeting on. */
enum wp_status wp_weekly_change(struct wp_txn *txn, const struct wp_ask *ask, int64_t id,
                                struct wp_error *error);
/* No meeting to come any more. WP_NOT_FOUND: no such weekly meeting, or ended. */
enum wp_status wp_weekly_end(struct wp_txn *txn, int64_t id, struct wp_error *error);

/* One day held otherwise. Body: `day`, and `weekly` (its id), or course and section, or `term` (all
 * sections of it: a holiday); `moved_to`, `starts`, `ends`, `place` where it is held otherwise
 * instead of left out; `undo`: as usual again. `*changed` counts the meetings. WP_NOT_FOUND: none
 * meets on that day. WP_CONFLICT: it has begun. */
enum wp_status wp_weekly_except(struct wp_txn *txn, const struct wp_ask *ask, int64_t *changed,
                                struct wp_error *error);

/* Expands all weekly meetings of a section (or, with 0, of all sections of `term`) again. */
enum wp_status wp_timetable_refresh(struct wp_txn *txn, int64_t section, int64_t term,
                                    struct wp_error *error);

/* ---- single meetings ---- */

enum wp_status wp_meeting_add(struct wp_txn *txn, int64_t section, struct wp_span span,
                              const char *place, int64_t *id, struct wp_error *error);
/* One to come. WP_CONFLICT: it has begun, or belongs to a weekly one. WP_NOT_FOUND. */
enum wp_status wp_meeting_remove(struct wp_txn *txn, int64_t id, struct wp_error *error);

/* SQL: the meeting `m` of the section `s` is held where the instrument `i` stands; without a place
 * it may be anywhere. */
#define WP_MEETS_AT_INSTRUMENT                                                                     \
    "(coalesce(nullif(m.place, ''), s.place) = '' OR i.place = coalesce(nullif(m.place, ''), "     \
    "s.place) OR substr(i.place, 1, length(coalesce(nullif(m.place, ''), s.place)) + 1) = "        \
    "coalesce(nullif(m.place, ''), s.place) || '/')"

#endif
