/* remarks_table.h - the one table of thresholds behind the remarks. Private to this room.
 *
 * A row says what a check compares with, in which unit, where the figure comes from, how far it is
 * trusted, and what to tell the bench if it is crossed. Rows without advice only steer a check.
 * docs/remarks.md lists the same rows; a test compares the two.
 */
#ifndef SPECTRUM_REMARKS_TABLE_H
#define SPECTRUM_REMARKS_TABLE_H

#include "spectrum/remarks.h"

enum wp_limit {
    WP_LIMIT_FLAT_ABOVE,
    WP_LIMIT_FLAT_WIDTH,
    WP_LIMIT_STRONG_NOTE_BANDS,
    WP_LIMIT_STRONG_ADVISE_BANDS,
    WP_LIMIT_STRONG_ADVISE_WIDTH,
    WP_LIMIT_STRONG_AGAIN_BANDS,
    WP_LIMIT_STRONG_AGAIN_WIDTH,
    WP_LIMIT_WEAK_NOTE,
    WP_LIMIT_WEAK_AGAIN,
    WP_LIMIT_WEAK_ATR,
    WP_LIMIT_NOTHING_BAND,
    WP_LIMIT_NOTHING_ATR,
    WP_LIMIT_NOTHING_OIL,
    WP_LIMIT_EMPTY_LOW,
    WP_LIMIT_PLATES_LOW,
    WP_LIMIT_BLOCKED,
    WP_LIMIT_BASELINE_NOTE,
    WP_LIMIT_BASELINE_ADVISE,
    WP_LIMIT_BASELINE_AGAIN,
    WP_LIMIT_OVER,
    WP_LIMIT_UPWARD,
    WP_LIMIT_SLOPE,
    WP_LIMIT_WET_LOW,
    WP_LIMIT_WET_HIGH,
    WP_LIMIT_WET_PROMINENCE,
    WP_LIMIT_WET_WIDTH,
    WP_LIMIT_WET_OH,
    WP_LIMIT_SOLVENT_RATIO,
    WP_LIMIT_SOLVENT_WIDTH,
    WP_LIMIT_SOLVENT_SHARE,
    WP_LIMIT_GREASE,
    WP_LIMIT_CO2_MARK,
    WP_LIMIT_CO2_REMARK,
    WP_LIMIT_VAPOUR_SIZE,
    WP_LIMIT_VAPOUR_MATCH,
    WP_LIMIT_NOISE_NOTE,
    WP_LIMIT_NOISE_ADVISE,
    WP_LIMIT_FRINGE_PERIODS,
    WP_LIMIT_FRINGE_SIZE,
    WP_LIMIT_RESOLUTION,
    WP_LIMIT_SCANS,
    WP_LIMIT_RANGE,
    WP_LIMIT_UPSIDE_DOWN,
    WP_LIMIT_SINGLE_BEAM,
    WP_LIMIT_PROCESSED,
    WP_LIMIT_INCOMPLETE,
    WP_LIMITS
};

struct wp_limit_row {
    const char *code; /* of the remark */
    const char *name; /* of the figure */
    double value;
    const char *unit;
    enum wp_verdict weight;
    int severity; /* among those of one weight, the larger is the worse; 0: no remark of its own */
    const char *source;
    const char *confidence;
    const char *text;   /* what was found; {n} count, {v} value, {p} position, {s} a name */
    const char *advice; /* the same, and {thin}, {more}, {clean}: see remarks_text.c */
};

extern const struct wp_limit_row wp_limit_rows[WP_LIMITS];

static inline double wp_limit(enum wp_limit limit)
{
    return wp_limit_rows[limit].value;
}

#endif
