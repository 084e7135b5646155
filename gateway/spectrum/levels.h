/* levels.h - what a curve's own points say about its noise and its floor. Private to this room. */
#ifndef SPECTRUM_LEVELS_H
#define SPECTRUM_LEVELS_H

#include "spectrum/curve.h"

/* A dip may count as cut off flat if it stays this close to the floor ... */
#define WP_FLAT_T 0.01
/* ... over this width, cm-1. */
#define WP_FLAT_WIDTH 6.0

struct wp_levels {
    double noise;  /* standard deviation of the fine structure, transmittance; 0 if not seen */
    double floor;  /* transmittance that an opaque band reads; 0 unless the points show another */
    double flat_t; /* at or below it a band is cut off flat */
    double flat_a; /* the same as absorbance */
};

void wp_levels_find(const struct wp_curve *curve, struct wp_levels *levels);

/* Runs of opaque points, the flat bottoms of bands that are too strong. */
struct wp_flats {
    size_t count;    /* runs of WP_FLAT_WIDTH and more */
    double width;    /* cm-1, of all of them */
    double widest;   /* cm-1 */
    double position; /* middle of the widest, cm-1 */
};

/* Counts the runs between `low` and `high` (cm-1). A run that reaches either end of the curve is
 * where the plates absorb, and does not count. */
void wp_flats_find(const struct wp_curve *curve, const struct wp_levels *levels, double low,
                   double high, struct wp_flats *flats);

/* First index whose abscissa is `wavenumber` or more; curve->count if there is none. */
size_t wp_curve_at(const struct wp_curve *curve, double wavenumber);

#endif
