/* stamping_parts.h - reading persons and turns out of a request. Private to acts. */
#ifndef ACTS_STAMPING_PARTS_H
#define ACTS_STAMPING_PARTS_H

#include "people/turns.h"

/* "persons" (a list, or one value of a form), "person" and "partner". WP_INVALID. */
enum wp_status wp_ask_persons(const struct wp_ask *ask, int64_t persons[WP_TURN_PERSONS],
                              size_t *count, struct wp_error *error);

/* At a bench only people of the section (0: of any) may be named, staff and the command line may
 * name anybody who is enrolled in it. WP_INVALID. */
enum wp_status wp_check_enrolled(struct wp_txn *txn, int64_t section, const int64_t *persons,
                                 size_t count, struct wp_error *error);

/* A turn as the request tells it, with defaults of timetable, experiment and instrument. Times and
 * author are the caller's to fill; the source only where it is still NULL: somebody who showed a
 * card has one. WP_INVALID says what is wrong. */
enum wp_status wp_turn_from_ask(struct wp_txn *txn, const struct wp_ask *ask, int64_t instrument,
                                struct wp_turn *turn, struct wp_error *error);

#endif
