/* windows.h - figures over a stretch of a curve's transmittance. Private to this room. */
#ifndef SPECTRUM_WINDOWS_H
#define SPECTRUM_WINDOWS_H

#include "spectrum/curve.h"

/* Mean transmittance between `low` and `high` (cm-1); NAN if the curve does not cover both. */
double wp_window_mean(const struct wp_curve *curve, double low, double high);

/* Root mean square of the transmittance about its straight line; NAN as above, or fewer than 8
 * points. */
double wp_window_noise(const struct wp_curve *curve, double low, double high);

/* The quieter of 2000-2100 and 2500-2600 cm-1, where neither air nor usual samples absorb, in %T;
 * NAN if neither is covered. */
double wp_quiet_noise(const struct wp_curve *curve);

#endif
