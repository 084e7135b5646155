/* fringes.h - even ripples: interference in a thin, even gap. Private to this room. */
#ifndef SPECTRUM_FRINGES_H
#define SPECTRUM_FRINGES_H

#include "spectrum/curve.h"

/* Peak to peak, as transmittance, of an even ripple with enough periods between 1850 and 2690 cm-1;
 * 0 if there is none. `*period` gets its period in cm-1. */
double wp_fringes_measure(const struct wp_curve *curve, double *period);

#endif
