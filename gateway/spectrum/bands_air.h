/* bands_air.h - bands of the room's air rather than of the sample. Private to this room. */
#ifndef SPECTRUM_BANDS_AIR_H
#define SPECTRUM_BANDS_AIR_H

#include "spectrum/bands.h"

/* Marks those of the `count` bands that are carbon dioxide or water vapour. */
void wp_bands_mark_air(struct wp_band *bands, size_t count);

#endif
