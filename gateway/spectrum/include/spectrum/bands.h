/* spectrum/bands.h - find and describe absorption bands as a practitioner would label them.
 *
 * A band must stand out of the noise (8 standard deviations), out of even ripples, and out of what
 * a reader of the plot would pass over (0.4 %T, 2 % of the deepest band's depth). Noise is even in
 * transmittance, so that is where this is judged; everything reported is in absorbance (curve.h),
 * and both forms of one measurement give the same bands.
 *
 * Position: the vertex of a parabola through the highest point and its neighbours, one on either
 * side, more where the noise asks for it (error below 0.1 cm-1 for bands of 8 cm-1 and more at a
 * spacing of 2 cm-1). Prominence: height above the higher of the two valleys beside it, as
 * documented for scipy.signal.peak_prominences. Width: full width at half prominence.
 *
 * A flat, saturated bottom (within 1 %T of what an opaque band reads in this file, over 6 cm-1) is
 * one band at the middle of the flat; height and prominence count up to the flat only.
 *
 * Strength: depth below the local baseline on a transmittance scale, against the deepest band that
 * is not air: strong from 66 %, medium from 33 %. Broad: from 80 cm-1, from 200 where saturated.
 * Common practice, no source. What docs/remarks.md measures holds for the default options.
 *
 * Pure; any thread.
 */
#ifndef SPECTRUM_BANDS_H
#define SPECTRUM_BANDS_H

#include "spectrum/curve.h"

enum wp_strength { WP_STRONG, WP_MEDIUM, WP_WEAK };
enum wp_shape { WP_SHARP, WP_BROAD };

struct wp_band {
    double position;      /* cm-1 */
    double transmittance; /* at the band, 1 = 100 %T */
    double absorbance;    /* at the band, at most 4 */
    double prominence;    /* absorbance */
    double width;         /* cm-1 */
    enum wp_strength strength;
    enum wp_shape shape;
    bool saturated; /* cut off flat */
    bool air;       /* carbon dioxide or water vapour of the room, not the sample */
    size_t index;   /* of the highest point in the curve */
};

#define WP_BANDS_MOST 64

struct wp_band_options {
    double least_prominence; /* absorbance; 0: chosen from the noise and the strongest band */
    double cut_off;          /* cm-1; below it the plates absorb and nothing is a band; 0: none */
    size_t most;             /* 0 or more than WP_BANDS_MOST: WP_BANDS_MOST */
};

/* Finds the bands of `curve`, at most options->most of the most prominent, and writes them to
 * `bands` in order of falling wavenumber; returns how many. `options` NULL: all zero. Allocates
 * scratch memory of about 40 bytes a point; returns 0 with *status = WP_NO_MEMORY if it cannot.
 * `status` may be NULL. */
size_t wp_bands_find(const struct wp_curve *curve, const struct wp_band_options *options,
                     struct wp_band bands[WP_BANDS_MOST], enum wp_status *status);

const char *wp_strength_text(enum wp_strength strength); /* "s", "m", "w" */
const char *wp_shape_text(enum wp_shape shape);          /* "sharp", "broad" */

#endif
