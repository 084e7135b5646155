/* places/places.h - buildings, floors, rooms, benches, and which printer is the nearest.
 *
 * A place is a path from the large to the small: "Science/2/214/bench C" is building, floor, room
 * and bench. Blanks around a part do not count, nor does the case of Latin letters. Metres are
 * optional and are compared only where both ends have them.
 *
 * Everything but the two functions that take a `struct wp_sql *` is pure. Thread: any.
 */
#ifndef PLACES_PLACES_H
#define PLACES_PLACES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/sql.h"
#include "base/status.h"

#define WP_PLACE_PARTS 8  /* parts of a path at most */
#define WP_PLACE_ROOM 256 /* bytes of a path, the zero byte included */

/* Writes the tidy form of what somebody typed: parts trimmed, joined by single slashes.
 * WP_INVALID: no part at all, more than WP_PLACE_PARTS, too long, not UTF-8, control characters. */
enum wp_status wp_place_tidy(const char *typed, char path[WP_PLACE_ROOM], struct wp_error *error);

/* How much two places have in common, nearest first. */
enum wp_near {
    WP_NEAR_BENCH,    /* the same bench: at least four parts in common */
    WP_NEAR_ROOM,     /* the same room: three */
    WP_NEAR_FLOOR,    /* two */
    WP_NEAR_BUILDING, /* one */
    WP_NEAR_ELSEWHERE /* none, or a place is not known */
};
enum wp_near wp_place_near(const char *a, const char *b);

/* A tidy path as people say it: "room 216", with its building where that is another one ("room 216,
 * Science"); a room that has more than a number keeps its name ("Lab 3"). With no room in the path,
 * its parts from small to large. Cut to `room` bytes. */
void wp_place_words(const char *path, enum wp_near near, char *words, size_t room);

/* "the same bench", "the same room", ... for people. Never NULL. */
const char *wp_near_text(enum wp_near near);

struct wp_spot {
    const char *place; /* tidy path */
    bool measured;     /* x and y are known */
    double x_m;
    double y_m;
};

/* One printer as the ranking sees it. */
struct wp_candidate {
    int64_t id;
    struct wp_spot spot;
    /* filled by wp_places_rank */
    bool named; /* the instrument's own first or second printer */
    enum wp_near near;
    double metres; /* NAN where not known */
};

/* Sorts `candidates` so that the best comes first: the instrument's first printer, its second, then
 * by nearness; within the same nearness known distances before unknown ones, short before long,
 * then by id. `first` and `second` are 0 where none is named. False, and
 * nothing sorted: no memory. */
bool wp_places_rank(const struct wp_spot *instrument, int64_t first, int64_t second,
                    struct wp_candidate *candidates, size_t count);

/* True if the sheet may come out there without asking: a named printer, or the same room. */
bool wp_candidate_unasked(const struct wp_candidate *candidate);

/* Where an instrument stands and which printers are its own. */
struct wp_instrument_place {
    char place[WP_PLACE_ROOM];
    bool measured;
    double x_m;
    double y_m;
    int64_t first_printer;
    int64_t second_printer;
};

/* WP_NOT_FOUND, or a database error. */
enum wp_status wp_instrument_place_read(struct wp_sql *sql, int64_t instrument,
                                        struct wp_instrument_place *out);

/* The metres of a path itself; false in `*measured` where none are known. */
enum wp_status wp_place_metres(struct wp_sql *sql, const char *place, bool *measured, double *x_m,
                               double *y_m);

#endif
