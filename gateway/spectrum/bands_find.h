/* bands_find.h - wp_bands_find for a caller that has the levels and the baseline already. Private
 * to this room. */
#ifndef SPECTRUM_BANDS_FIND_H
#define SPECTRUM_BANDS_FIND_H

#include "baseline.h"
#include "levels.h"
#include "spectrum/bands.h"

size_t wp_bands_find_with(const struct wp_curve *curve, const struct wp_levels *levels,
                          const struct wp_baseline *baseline, const struct wp_band_options *options,
                          struct wp_band bands[WP_BANDS_MOST], enum wp_status *status);

#endif
