/* people/turns.h - turns: one student's (or pair's, or group's) time at one instrument.
 *
 * Inside read and write jobs.
 */
#ifndef PEOPLE_TURNS_H
#define PEOPLE_TURNS_H

#include "people/ask.h"
#include "people/stamping.h"

#define WP_TURN_PERSONS 8
#define WP_TURNS_SEEN 16

struct wp_turn {
    int64_t id;
    int64_t instrument;
    int64_t section;    /* 0: none */
    int64_t experiment; /* 0: none */
    int64_t persons[WP_TURN_PERSONS];
    size_t person_count;
    char sample[128];
    char kind[24];
    char preparation[24];
    char plates[16];
    char guest[64];
    int64_t opened_us;
    int64_t closed_us;  /* 0: open */
    const char *source; /* how it came: "bench", "card", "pin", "number", "staff": a literal */
    int64_t author;
};

/* Records a turn and, if it is still open, closes the one before it on the instrument. `turn->id`
 * is made here. */
enum wp_status wp_turn_open(struct wp_txn *txn, struct wp_turn *turn);

/* Done: closes the instrument's open turn at `at`, though not before it was opened. WP_NOT_FOUND:
 * none is open. */
enum wp_status wp_turn_close(struct wp_txn *txn, int64_t instrument, int64_t at, int64_t *id);

/* Adds a person to an open turn; nothing if they are in it. WP_TOO_LARGE: it has WP_TURN_PERSONS.
 */
enum wp_status wp_turn_join(struct wp_txn *txn, struct wp_turn *turn, int64_t person);

/* The bench said "still me". */
enum wp_status wp_turn_confirm(struct wp_txn *txn, int64_t turn);

/* The open turn of an instrument (WP_NOT_FOUND: none), or a turn by id. `source` is not read. */
enum wp_status wp_turn_current(struct wp_sql *sql, int64_t instrument, struct wp_turn *turn);
enum wp_status wp_turn_read(struct wp_sql *sql, int64_t id, struct wp_turn *turn);

/* Turns of an instrument that may matter for a spectrum between `from` and `to`, oldest first, at
 * most WP_TURNS_SEEN (the newest). `named` is the person the file names, 0 if none. */
enum wp_status wp_turns_seen(struct wp_sql *sql, int64_t instrument, int64_t from, int64_t to,
                             int64_t named, struct wp_turn_seen turns[WP_TURNS_SEEN],
                             size_t *count);

/* The one section that meets at the instrument's place (room) at that time; 0 if none or several.
 */
enum wp_status wp_section_by_timetable(struct wp_sql *sql, int64_t instrument, int64_t at,
                                       int64_t *section);

#endif
