/* spectrum/curve.h - the one normal form that every computation works on.
 *
 * Wavenumbers in cm-1 rising with the index, absorbance (decadic, A = -log10 T) beside
 * transmittance (a ratio, 1 = 100 %T). Missing points are left out. Built once for a spectrum and
 * then read by bands, remarks, likeness, the film check and the sheet.
 *
 * A transmittance of WP_T_FLOOR or less is clipped for the absorbance (A <= 4), since detectors do
 * not read beyond and noise goes below zero. The curve's own array `t` is not clipped there.
 * Numbers that no instrument reads (beyond 10^4 in transmittance, below -4 in absorbance) are
 * clipped in both, abscissae beyond 10^9 cm-1 are dropped.
 *
 * Pure; any thread. A finished curve is only read, so several threads may share one.
 */
#ifndef SPECTRUM_CURVE_H
#define SPECTRUM_CURVE_H

#include "spectrum/spectrum.h"

#define WP_T_FLOOR 1e-4

struct wp_curve {
    size_t count;
    double *x;            /* cm-1, strictly rising */
    double *a;            /* absorbance */
    double *t;            /* transmittance, 1 = 100 %T */
    double step;          /* median spacing, cm-1 */
    bool from_absorbance; /* the file had absorbance */
};

/* Builds `*curve` from a spectrum in any x and y unit that has a meaning in the infrared. Points at
 * x <= 0 (um, nm) and duplicates of an abscissa are dropped. The caller releases it.
 * WP_INVALID: units are OTHER, the spectrum is discrete, or fewer than 16 usable points remain.
 * WP_NO_MEMORY. On failure `*curve` is zeroed. */
enum wp_status wp_curve_make(const struct wp_spectrum *spectrum, struct wp_curve *curve,
                             struct wp_error *error);
void wp_curve_release(struct wp_curve *curve);

/* Single values, exact to rounding; factors are powers of ten or reciprocals so that converting
 * back gives the original to 1 unit in the last place. */
double wp_x_to_cm1(double x, enum wp_x_unit unit);
double wp_x_from_cm1(double wavenumber, enum wp_x_unit unit);
double wp_y_to_transmittance(double y, enum wp_y_unit unit);
double wp_y_to_absorbance(double y, enum wp_y_unit unit);

#endif
