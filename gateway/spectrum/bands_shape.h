/* bands_shape.h - position, width and shape of one band. Private to this room. */
#ifndef SPECTRUM_BANDS_SHAPE_H
#define SPECTRUM_BANDS_SHAPE_H

#include "levels.h"
#include "peaks.h"
#include "spectrum/bands.h"

/* A band at least this wide (cm-1) is called broad; common practice, no source. */
#define WP_BROAD_WIDTH 80.0
/* A flat bottom widens a band, so a saturated one is called broad from here on. */
#define WP_BROAD_WIDTH_FLAT 200.0

/* Describes `peak`: its height and prominence are absorbances, with the curve cut off at
 * levels->flat_a. Strength and air are left for those who
 * see all bands. */
void wp_band_describe(const struct wp_curve *curve, const struct wp_levels *levels,
                      const struct wp_peak *peak, struct wp_band *band);

/* Position (cm-1) of the band whose highest point is `top`, which is not an end of the curve: the
 * vertex of a parabola through it and its neighbours, as many as the noise asks for and `width`
 * (cm-1, about that of the band) allows. */
double wp_band_position(const struct wp_curve *curve, const struct wp_levels *levels, size_t top,
                        double width);

#endif
