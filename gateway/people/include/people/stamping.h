/* people/stamping.h - whose spectrum is it? The one rule, as a pure function.
 *
 * Order: the turn that was open on the instrument when the spectrum was measured; else an identity
 * in the file that matches exactly one roster entry; else nobody. Where the evidence is weak the
 * bench is asked and until it answers the measurement is unclaimed, with a suggestion: a wrong name
 * is worse than none. docs/stamping.md shows every case as a row of a table.
 *
 * Pure. Thread: any.
 */
#ifndef PEOPLE_STAMPING_H
#define PEOPLE_STAMPING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* An export this close to a change of turns says little about whose it is; common practice, no
 * source. */
#define WP_CHANGE_OF_TURNS_US (INT64_C(90) * 1000000)
/* A turn without a spectrum for this long may have been forgotten; common practice, no source. */
#define WP_SILENCE_US (INT64_C(20) * 60 * 1000000)
/* A time in the file that is later than the export by more than this was not written by a clock
 * that can be trusted. */
#define WP_FILE_AHEAD_US (INT64_C(2) * 60 * 1000000)
/* Clocks are tied to each other by what a heartbeat took on its way: a time in the file this close
 * to a change of turns is not told by it. Common practice, no source. */
#define WP_CLOCK_DOUBT_US (INT64_C(500) * 1000)

/* What leaves a spectrum in doubt for good, whatever is heard of turns later. */
#define WP_REASON_CLOCK "The clock of the instrument's PC could not be trusted."
#define WP_REASON_NAMED "The file names somebody else than the turn."

/* One turn on the instrument, as far as stamping cares. Instants are on the gateway's clock. */
struct wp_turn_seen {
    int64_t id;
    int64_t opened_us;
    int64_t closed_us;    /* Done, or the next sign-on; 0: still open */
    int64_t confirmed_us; /* the last time the bench said "still me"; 0: never */
    int64_t last_us;      /* its last spectrum; 0: none yet */
    int expected;         /* spectra its experiment expects; 0: no number */
    int seen;             /* spectra it has, those to be run again not counted */
    bool named_is_in;     /* the person named in the file is one of its persons */
};

struct wp_evidence {
    bool has_file_time;
    int64_t file_us;      /* time in the file, corrected by the PC's clock offset */
    int64_t file_from_us; /* the first instant that time may stand for: before file_us where it is
                             in whole seconds */
    int64_t export_us;    /* time of the export, corrected likewise */
    bool clock_unknown;   /* the PC's clock was reset and no offset is known for that time */
    int64_t change_us;    /* an export this close to a change of turns is asked about */
    int64_t doubt_us;     /* a time in the file this close to a change of turns is asked about;
                             0: WP_CLOCK_DOUBT_US */
    int64_t silence_us;   /* a turn without a spectrum for this long is asked about */
    bool named;           /* an identity in the file matches exactly one roster entry */
    const struct wp_turn_seen *turns; /* by rising opened_us; those that may matter */
    size_t count;
};

enum wp_rule { WP_RULE_NOBODY, WP_RULE_TURN, WP_RULE_IDENTITY };

struct wp_ruling {
    enum wp_rule rule;
    int64_t turn;       /* the turn it belongs to (WP_RULE_TURN), else 0 */
    int64_t suggestion; /* WP_RULE_NOBODY: the turn that is suggested, 0 if none */
    bool suggest_named; /* WP_RULE_NOBODY: the person named in the file is suggested too */
    bool ask;           /* the bench is asked */
    const char *reason; /* one sentence for the history; a literal */
};

struct wp_ruling wp_stamping_rule(const struct wp_evidence *evidence);

#endif
