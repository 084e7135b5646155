/* fixture.h - invented spectra and the sheets that show them. */
#ifndef SHEET_FIXTURE_H
#define SHEET_FIXTURE_H

#include "sheet/sheet.h"

/* One band: Lorentzian, position and full width in cm-1, height in absorbance. */
struct fixture_band {
    double position, height, width;
};

/* A small random source that gives the same numbers everywhere (xorshift64*, Vigna 2016). */
struct fixture_random {
    uint64_t state;
};
double fixture_uniform(struct fixture_random *random, double low, double high);
size_t fixture_below(struct fixture_random *random, size_t limit);

struct fixture_shape {
    double first, last; /* cm-1, the file's own order */
    size_t count;
    double base;  /* %T without bands */
    double noise; /* %T, peak to peak */
    double scale; /* of all heights */
    uint64_t seed;
};

/* An infrared spectrum in percent transmittance. The caller releases it. */
void fixture_infrared(struct wp_spectrum *spectrum, const struct fixture_band *bands, size_t count,
                      const struct fixture_shape *shape);

/* `count` points of another technique with zeroed ordinates, x rising from `first` to `last`. */
void fixture_blank(struct wp_spectrum *spectrum, enum wp_technique technique, enum wp_x_unit x_unit,
                   enum wp_y_unit y_unit, double first, double last, size_t count);

/* Bands by wp_bands_find; below 1 %T they count as cut off. */
void fixture_examine(const struct wp_spectrum *spectrum, double cut_off, bool air,
                     struct wp_examination *examination);

/* What the sheets of kinds.c show: the bands that went into the spectrum, not what wp_bands_find
 * makes of it, so that a better band finder does not change the pictures. */
void fixture_describe(const struct wp_spectrum *spectrum, const struct fixture_band *bands,
                      size_t count, double cut_off, bool air, struct wp_examination *examination);

/* The kinds of sheet. `index` from 0; the fixture owns everything in it. */
struct fixture_kind {
    const char *name; /* also of the picture's file */
    struct wp_sheet_input input;
};
enum { FIXTURE_KINDS = 11 };
struct fixture_kind *fixture_kind_new(size_t index);
void fixture_kind_free(struct fixture_kind *kind);

/* Fonts as a test program wants them: fails the test if they cannot be had. */
struct wp_sheet_fonts *fixture_fonts(void);

#endif
