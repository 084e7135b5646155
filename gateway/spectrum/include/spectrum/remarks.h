/* spectrum/remarks.h - what is wrong with a spectrum, said at once, and one verdict.
 *
 * Every threshold stands in one table (remarks_table.c) with its unit, its source or "common
 * practice, no source", and the confidence in it; docs/remarks.md lists them with the measured
 * rates of false alarms and misses, and which checks run for which kind and preparation.
 *
 * Remarks never name a substance or a group; advice never tells a student to heat, press, or open
 * anything. Only infrared spectra get remarks; others get their bands and nothing else.
 *
 * Pure; any thread.
 */
#ifndef SPECTRUM_REMARKS_H
#define SPECTRUM_REMARKS_H

#include "spectrum/bands.h"

enum wp_verdict { WP_USABLE, WP_USABLE_WITH_NOTE, WP_RUN_AGAIN };

enum wp_kind {
    WP_KIND_SAMPLE,
    WP_KIND_REPEAT,
    WP_KIND_BLANK,
    WP_KIND_BACKGROUND,
    WP_KIND_STANDARD,
    WP_KIND_FILM_CHECK,
    WP_KIND_DEMONSTRATION
};
enum wp_preparation {
    WP_PREP_UNKNOWN,
    WP_PREP_LIQUID_FILM,
    WP_PREP_CAST_FILM,
    WP_PREP_MULL,
    WP_PREP_PELLET,
    WP_PREP_ATR,
    WP_PREP_SOLUTION,
    WP_PREP_GAS,
    WP_PREP_OTHER
};
enum wp_plates {
    WP_PLATES_UNKNOWN,
    WP_PLATES_NACL,
    WP_PLATES_KBR,
    WP_PLATES_CAF2,
    WP_PLATES_ZNSE,
    WP_PLATES_CSI,
    WP_PLATES_DIAMOND,
    WP_PLATES_NONE
};

#define WP_SOLVENTS_MOST 8

/* What is known about the measurement beside its points. All zero is "a sample, nothing known". */
struct wp_context {
    enum wp_kind kind;
    enum wp_preparation preparation;
    enum wp_plates plates;
    bool product_has_oh; /* the course says: acid, amide or hydrate; the "wet" check is off */
    bool staff;          /* include checks that only staff see (solvent in a course's first term) */
    double lab_resolution; /* cm-1 the lab uses, 0: not stated */
    int lab_scans;         /* 0: not stated */
    double lab_low;        /* range the lab records, cm-1; 0: not stated */
    double lab_high;
    const char *cleaning_solvent; /* the lab's configured one, named in advice; NULL: not named */
    const char *solvents[WP_SOLVENTS_MOST]; /* listed solvents: "acetone", "dichloromethane", ... */
    size_t solvent_count;
};

struct wp_remark {
    char code[24];          /* stable, machine-readable: "too-strong", "no-sample", ... */
    enum wp_verdict weight; /* what it alone would make the verdict; USABLE for a grey mark */
    double position;        /* cm-1 where it belongs on the plot; NAN if nowhere */
    char text[160];         /* what was found, neutral: "5 bands are cut off flat" */
    char advice[240];       /* what to do next, for the bench and the inbox; "" if nothing */
    bool staff_only;
};
#define WP_REMARKS_MOST 2

struct wp_examination {
    enum wp_verdict verdict;
    struct wp_remark remarks[WP_REMARKS_MOST];
    size_t remark_count;
    struct wp_band bands[WP_BANDS_MOST];
    size_t band_count;
    bool air_mark;   /* room air visible, harmless: shown as a grey mark */
    double cut_off;  /* cm-1 below which the plates absorb, 0: none or not known */
    double noise;    /* rms, %T, in the quieter of 2000-2100 and 2500-2600; NAN: not covered */
    double baseline; /* %T, higher of 2500-2650 and 1900-2000; NAN: not covered */
};

/* Examines `curve`, made from `spectrum` (for its labels, units and settings). `context` NULL: all
 * zero. WP_OK or WP_NO_MEMORY; `*out` is always filled (verdict WP_USABLE if nothing is known). */
enum wp_status wp_examine(const struct wp_spectrum *spectrum, const struct wp_curve *curve,
                          const struct wp_context *context, struct wp_examination *out);

/* What staff should do when three turns running have this remark, because it is then the
 * instrument's: "take a new background". NULL for remarks that are the sample's. One table, in
 * remarks_instrument.c; common practice, no source. */
const char *wp_remark_of_instrument(const char *code);

const char *wp_verdict_text(enum wp_verdict verdict);   /* "usable", "note", "again" */
const char *wp_verdict_words(enum wp_verdict verdict);  /* "usable", "usable, with a note", ... */
const char *wp_kind_text(enum wp_kind kind);            /* "sample", "repeat", ... "film check" */
const char *wp_preparation_text(enum wp_preparation p); /* "liquid film", ... "" for unknown */
const char *wp_plates_text(enum wp_plates plates);      /* "NaCl", ..., "none", "" for unknown */
bool wp_kind_parse(const char *text, enum wp_kind *kind);
bool wp_preparation_parse(const char *text, enum wp_preparation *preparation);
bool wp_plates_parse(const char *text, enum wp_plates *plates);

#endif
