/* levels.h - what a curve's own points say about its noise and its floor. Private to this room. */
#ifndef SPECTRUM_LEVELS_H
#define SPECTRUM_LEVELS_H

#include "spectrum/curve.h"

struct wp_levels {
    double noise;  /* standard deviation of the fine structure, transmittance; 0 if not seen */
    double floor;  /* transmittance that an opaque band reads; 0 unless the points show another */
    double flat_t; /* at or below it a band is cut off flat */
    double flat_a; /* the same as absorbance */
    double ripple; /* even ripple peak to peak, transmittance; 0 if there is none */
    double ripple_period; /* cm-1 */
};

void wp_levels_find(const struct wp_curve *curve, struct wp_levels *levels);

/* Runs of opaque points, the flat bottoms of bands that are too strong. */
struct wp_flats {
    size_t count;    /* runs */
    double width;    /* cm-1, of all of them */
    double widest;   /* cm-1 */
    double position; /* middle of the widest, cm-1 */
};

/* First index whose abscissa is `wavenumber` or more; curve->count if there is none. */
size_t wp_curve_at(const struct wp_curve *curve, double wavenumber);

/* How many points lie over `width` (cm-1), rounded: at least 1, at most curve->count. */
size_t wp_curve_points(const struct wp_curve *curve, double width);

#endif
