#include "bands_shape.h"

#include <math.h>

#include "remarks_table.h"

/* The parabola takes in neighbours until they lie this many standard deviations of the noise below
 * the top: with little noise the next point on either side will do. */
#define FIT_DROP 6.0
/* ... but no farther than this share of the band's width, where a parabola no longer fits, and no
 * more points than this. */
#define FIT_WIDTH 0.2
#define FIT_MOST 64

/* Least-squares parabola through the points from..to; its vertex in cm-1. Through three points it
 * is the interpolating one. */
static double vertex(const struct wp_curve *curve, size_t from, size_t to, size_t top)
{
    double origin = curve->x[top];
    double scale = curve->x[to] - curve->x[from];
    double s0 = 0, s1 = 0, s2 = 0, s3 = 0, s4 = 0, r0 = 0, r1 = 0, r2 = 0;
    for (size_t i = from; i <= to; i++) {
        double u = (curve->x[i] - origin) / scale;
        double y = curve->a[i] - curve->a[top];
        s0 += 1;
        s1 += u;
        s2 += u * u;
        s3 += u * u * u;
        s4 += u * u * u * u;
        r0 += y;
        r1 += y * u;
        r2 += y * u * u;
    }
    double m11 = s2 * s0 - s1 * s1;
    double m12 = s3 * s0 - s2 * s1;
    double m22 = s4 * s0 - s2 * s2;
    double q1 = r1 * s0 - r0 * s1;
    double q2 = r2 * s0 - r0 * s2;
    double determinant = m11 * m22 - m12 * m12;
    double linear = (q1 * m22 - q2 * m12) / determinant;
    double square = (m11 * q2 - m12 * q1) / determinant;
    double shift = -0.5 * linear / square;
    if (!(square < 0.0) || !isfinite(shift))
        return origin;
    double place = origin + shift * scale;
    return place < curve->x[from] ? curve->x[from] : place > curve->x[to] ? curve->x[to] : place;
}

double wp_band_position(const struct wp_curve *curve, const struct wp_levels *levels, size_t top,
                        double width)
{
    size_t reach = wp_curve_points(curve, FIT_WIDTH * width);
    reach = reach > FIT_MOST ? FIT_MOST : reach;
    double t = curve->t[top] > levels->flat_t ? curve->t[top] : levels->flat_t;
    double drop = FIT_DROP * M_LOG10E * levels->noise / t;
    size_t from = top - 1;
    size_t to = top + 1;
    while (to - from < 2 * reach && from > 0 && to + 1 < curve->count) {
        if (curve->a[top] - 0.5 * (curve->a[from] + curve->a[to]) >= drop)
            break;
        from--;
        to++;
    }
    return vertex(curve, from, to, top);
}

/* Where the curve crosses `level` on the way from `top` towards the end that `step` (+1, -1) leads
 * to, by straight line between points. */
static double crossing(const struct wp_curve *curve, size_t top, int step, double level)
{
    const double *a = curve->a;
    size_t i = top;
    size_t end = step > 0 ? curve->count - 1 : 0;
    if (a[top] <= level)
        return curve->x[top];
    while (i != end && a[i] > level)
        i = step > 0 ? i + 1 : i - 1;
    if (a[i] >= level)
        return curve->x[i];
    size_t before = step > 0 ? i - 1 : i + 1;
    double share = (level - a[i]) / (a[before] - a[i]);
    return curve->x[i] + share * (curve->x[before] - curve->x[i]);
}

static size_t highest(const struct wp_curve *curve, size_t from, size_t to)
{
    size_t top = from;
    for (size_t i = from + 1; i <= to; i++)
        if (curve->a[i] > curve->a[top])
            top = i;
    return top;
}

void wp_band_describe(const struct wp_curve *curve, const struct wp_levels *levels,
                      const struct wp_peak *peak, struct wp_band *band)
{
    double half = peak->height - 0.5 * peak->prominence;
    double right = crossing(curve, peak->last, 1, half);
    double left = crossing(curve, peak->first, -1, half);
    size_t top = highest(curve, peak->first, peak->last);
    *band = (struct wp_band){.prominence = peak->prominence};
    band->width = right - left;
    band->saturated = peak->height >= levels->flat_a - 1e-9 &&
                      curve->x[peak->last] - curve->x[peak->first] >= wp_limit(WP_LIMIT_FLAT_WIDTH);
    if (band->saturated) {
        band->position = 0.5 * (crossing(curve, peak->first, -1, levels->flat_a) +
                                crossing(curve, peak->last, 1, levels->flat_a));
        top = peak->first + (peak->last - peak->first) / 2;
    } else {
        band->position = wp_band_position(curve, levels, top, band->width);
    }
    band->index = top;
    band->transmittance = curve->t[top];
    band->absorbance = curve->a[top];
    double broad = band->saturated ? WP_BROAD_WIDTH_FLAT : WP_BROAD_WIDTH;
    band->shape = band->width >= broad ? WP_BROAD : WP_SHARP;
}
