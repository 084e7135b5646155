/* baseline.h - the line a spectrum would follow without its bands. Private to this room.
 *
 * The lower convex hull of the absorbance ("rubber band"; common practice, no source), taken over
 * the lowest points of short stretches so that its cost does not grow with the file.
 */
#ifndef SPECTRUM_BASELINE_H
#define SPECTRUM_BASELINE_H

#include "spectrum/curve.h"

#define WP_BASELINE_KNOTS 520

struct wp_baseline {
    size_t count;
    double x[WP_BASELINE_KNOTS];
    double a[WP_BASELINE_KNOTS];
};

void wp_baseline_make(const struct wp_curve *curve, struct wp_baseline *baseline);

/* Its absorbance at `x` (cm-1); at the ends, that of the end. */
double wp_baseline_at(const struct wp_baseline *baseline, double x);

#endif
