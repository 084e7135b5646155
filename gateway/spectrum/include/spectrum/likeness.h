/* spectrum/likeness.h - are two renditions the same measurement?
 *
 * The same measurement exported twice (other format, direction, unit, rounding, edited header)
 * carries the same noise; two measurements of the same compound do not. So likeness compares the
 * fine structure left after the bands are removed, not the bands, and the mean level of the same
 * stretches.
 *
 * It cannot tell exports whose digits are coarser than the noise, nor what was resampled, smoothed
 * or corrected, nor spectra that cover fewer than three of the stretches it looks at (1760-2860 and
 * 3340-4000 cm-1). Error rates, measured on 11,400 labelled pairs, stand in docs/remarks.md: no two
 * measurements were ever called one.
 *
 * Pure; any thread. Making a print takes a few microseconds, comparing two well below one where
 * their levels differ, about one where they do not.
 */
#ifndef SPECTRUM_LIKENESS_H
#define SPECTRUM_LIKENESS_H

#include "spectrum/curve.h"

#define WP_PRINT_SIZE 1024

/* A fixed-size extract that can be stored in a database and compared without the points. The bytes
 * are portable (little-endian), versioned, and never change meaning within a version. */
struct wp_print {
    unsigned char bytes[WP_PRINT_SIZE];
};

enum wp_likeness {
    WP_DIFFERENT,
    WP_ALIKE,      /* the same measurement in another form */
    WP_CANNOT_TELL /* too few shared points, or too coarse: never merge on this */
};

/* WP_OK; WP_INVALID if the curve is too short to tell (the print then never equals anything). */
enum wp_status wp_print_make(const struct wp_curve *curve, struct wp_print *print);

/* The order of the two does not matter. Damaged bytes give some answer and do no harm. */
enum wp_likeness wp_print_compare(const struct wp_print *a, const struct wp_print *b);

#endif
