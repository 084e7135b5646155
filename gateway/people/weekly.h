/* weekly.h - one weekly meeting as it stands in the database. Private to people. */
#ifndef PEOPLE_WEEKLY_H
#define PEOPLE_WEEKLY_H

#include "people/timetable.h"

struct wp_weekly {
    int64_t id;
    int64_t section;
    int weekday;
    int starts, ends; /* minutes */
    int first, last;  /* days as typed, 0: the term's */
    int from, until;  /* the days that count; 0 where there is no term either */
    char place[256];  /* "": the section's */
};

/* One that has not ended. WP_NOT_FOUND, with words. */
enum wp_status wp_weekly_read(struct wp_sql *sql, int64_t id, struct wp_weekly *weekly,
                              struct wp_error *error);

/* Makes the meetings to come what the weekly one and its exceptions say. */
enum wp_status wp_weekly_expand(struct wp_txn *txn, const struct wp_weekly *weekly,
                                struct wp_error *error);

/* WP_INVALID, with words, where the section meets already in that time. */
enum wp_status wp_meeting_free(struct wp_sql *sql, int64_t section, struct wp_span span,
                               struct wp_error *error);

#endif
