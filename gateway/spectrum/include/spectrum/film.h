/* spectrum/film.h - an instrument's record from its polystyrene film check.
 *
 * Band minima are compared with the positions and tolerances of the pharmacopoeias and the
 * certified band minima of NIST SRM 1921b; resolution by the depth between 1583 and 1589 cm-1 and
 * between 2850 and 2870 cm-1. A teaching film is not a certified one: pharmacopoeia tolerances
 * decide, the certificate's uncertainties do not.
 *
 * Positions, tolerances and the depths in %T: JP 14 Supplement 1 and Ph. Eur. 4.0. The depths in
 * absorbance are reported for the record and decide nothing. 2850/2870 mostly measures the film's
 * thickness, 1583/1589 the resolution.
 *
 * Pure; any thread.
 */
#ifndef SPECTRUM_FILM_H
#define SPECTRUM_FILM_H

#include "spectrum/curve.h"

#define WP_FILM_BANDS 8

struct wp_film_band {
    double expected;  /* cm-1 */
    double tolerance; /* cm-1, plus or minus */
    double found;     /* cm-1, NAN if the band is not there */
    bool within;
};

struct wp_film_check {
    bool is_film; /* enough bands of polystyrene are there at all */
    struct wp_film_band bands[WP_FILM_BANDS];
    size_t band_count;
    double mean_shift;   /* cm-1, found minus expected; NAN if no band was found */
    double depth_1583;   /* difference in absorbance, 1583 against 1589 cm-1 */
    double depth_2850;   /* difference in absorbance, 2850 against 2870 cm-1 */
    double depth_1583_t; /* difference in %T, 1589 against 1583 cm-1 */
    double depth_2850_t; /* difference in %T, 2870 against 2850 cm-1 */
    bool resolution_ok;
    double noise; /* rms %T, NAN if not covered */
    bool passed;  /* all bands within tolerance and resolution ok */
};

/* Always fills `*out`; WP_OK, or WP_INVALID if the curve does not cover 1000-3100 cm-1. */
enum wp_status wp_film_check(const struct wp_curve *curve, struct wp_film_check *out);

#endif
