/* spectrum/spectrum.h - one measured curve in memory, and what reading a file found.
 *
 * Pure: no files, no clock, no locale. Everything here may be used from any thread; one object by
 * one thread at a time.
 *
 * Units: x as the file has it (`x_unit`), y as the file has it (`y_unit`); both after XFACTOR and
 * YFACTOR, in the file's own order. A missing ordinate is NAN. Abscissae are always finite.
 */
#ifndef SPECTRUM_SPECTRUM_H
#define SPECTRUM_SPECTRUM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/status.h"

enum wp_technique { WP_INFRARED, WP_RAMAN, WP_UV_VIS, WP_OTHER_TECHNIQUE };
enum wp_x_unit { WP_X_CM1, WP_X_UM, WP_X_NM, WP_X_OTHER };
enum wp_y_unit { WP_Y_TRANSMITTANCE, WP_Y_PERCENT, WP_Y_ABSORBANCE, WP_Y_OTHER };
enum wp_format { WP_FORMAT_UNKNOWN, WP_FORMAT_JCAMP, WP_FORMAT_DELIMITED };

/* A labelled record as the file has it. `name` is the normalised label ("DATATYPE"); `value` is
 * UTF-8, trimmed, at most WP_LABEL_VALUE bytes, possibly of several lines. */
struct wp_label {
    char *name;
    char *value;
    long line;
};
#define WP_LABEL_VALUE 4096
#define WP_LABELS_MOST 512

/* When the file says the spectrum was measured. `zone_known` is false where the file gives local
 * time only; then `utc_us` is the local wall time counted as if it were UTC, and the caller shifts
 * it by the site's zone. */
struct wp_file_time {
    bool present;
    bool has_time; /* false: a date only, at 00:00 */
    bool zone_known;
    int64_t utc_us;
};

struct wp_spectrum {
    char *title; /* UTF-8, one line, "" if the file has none; never NULL after reading */
    enum wp_technique technique;
    enum wp_x_unit x_unit;
    enum wp_y_unit y_unit;
    size_t count;
    size_t stated; /* how many points the file says it has (NPOINTS); 0: it does not say */
    double *x;
    double *y;
    double y_factor;   /* every y is an integer times this (YFACTOR); 0: not known */
    bool even;         /* x was given by first, last and count (JCAMP-DX X++(Y..Y)) */
    bool discrete;     /* a peak table: points are peaks, not a curve */
    double resolution; /* cm-1; NAN if unknown */
    int scans;         /* co-added scans, 0 if unknown */
    struct wp_file_time time;
    bool processed; /* the file says so (DATA PROCESSING, or a processed data type) */
    size_t block;   /* 1 for the first spectrum of the file */
    long line;      /* where its block begins */
    struct wp_label *labels;
    size_t label_count;
};

/* Something odd that does not make the numbers unknowable. */
struct wp_warning {
    long line;
    char label[48];
    char text[200];
};
#define WP_WARNINGS_MOST 100

/* The outcome of reading one file. With `error.status` != 0 nothing in it can be trusted and
 * `spectrum_count` is 0 unless whole blocks before the error were read (they are kept). */
struct wp_reading {
    enum wp_format format;
    char dialect[120]; /* what was decided: "JCAMP-DX 4.24, DIFDUP", "semicolon, decimal comma" */
    struct wp_spectrum *spectra;
    size_t spectrum_count;
    struct wp_warning *warnings;
    size_t warning_count;    /* kept, at most WP_WARNINGS_MOST */
    size_t warnings_dropped; /* beyond that */
    struct wp_error error;
};

/* Frees what the structure holds (not the structure) and zeroes it. Harmless on zeroed ones. */
void wp_spectrum_release(struct wp_spectrum *spectrum);
void wp_reading_release(struct wp_reading *reading);

/* A deep copy. WP_NO_MEMORY leaves `*copy` zeroed. */
enum wp_status wp_spectrum_copy(const struct wp_spectrum *from, struct wp_spectrum *copy);

/* The value of the first label with this normalised name, NULL if there is none. Borrowed. */
const char *wp_spectrum_label(const struct wp_spectrum *spectrum, const char *name);

/* The words of the --json contract: "infrared", "cm-1", "percent transmittance", "jcamp-dx", ... */
const char *wp_technique_text(enum wp_technique technique);
const char *wp_x_unit_text(enum wp_x_unit unit);
const char *wp_y_unit_text(enum wp_y_unit unit);
const char *wp_format_text(enum wp_format format);

#endif
