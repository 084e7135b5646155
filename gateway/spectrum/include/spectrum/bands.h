/* spectrum/bands.h - find and describe absorption bands as a practitioner would label them.
 *
 * Works on absorbance (see curve.h). A band's position is the vertex of the parabola through its
 * highest point and the two neighbours (error below 0.1 cm-1 for bands of 8 cm-1 and more at a
 * spacing of 2 cm-1); prominence is the height above the higher of the two valleys beside it
 * (definition as documented for scipy.signal.peak_prominences); width is the full width at half
 * prominence. A flat, saturated bottom counts as one band at the middle of the flat.
 */
#ifndef SPECTRUM_BANDS_H
#define SPECTRUM_BANDS_H

#include "spectrum/curve.h"

enum wp_strength { WP_STRONG, WP_MEDIUM, WP_WEAK };
enum wp_shape { WP_SHARP, WP_BROAD };

struct wp_band {
    double position;      /* cm-1 */
    double transmittance; /* at the band, 1 = 100 %T */
    double absorbance;    /* at the band */
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
