#include "spectrum/curve.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define POINTS_LEAST 16

/* No instrument reads farther than this; a damaged file may, and sums of such numbers mean nothing.
 */
#define T_MOST 1e4
#define A_LEAST (-4.0)
#define X_MOST 1e9

double wp_x_to_cm1(double x, enum wp_x_unit unit)
{
    switch (unit) {
    case WP_X_CM1:
        return x;
    case WP_X_UM:
        return 1e4 / x;
    case WP_X_NM:
        return 1e7 / x;
    default:
        return NAN;
    }
}

double wp_x_from_cm1(double wavenumber, enum wp_x_unit unit)
{
    return wp_x_to_cm1(wavenumber, unit); /* each conversion is its own inverse */
}

double wp_y_to_transmittance(double y, enum wp_y_unit unit)
{
    switch (unit) {
    case WP_Y_TRANSMITTANCE:
        return y;
    case WP_Y_PERCENT:
        return y / 100.0;
    case WP_Y_ABSORBANCE:
        return pow(10.0, -y);
    default:
        return NAN;
    }
}

double wp_y_to_absorbance(double y, enum wp_y_unit unit)
{
    switch (unit) {
    case WP_Y_TRANSMITTANCE:
        return -log10(y);
    case WP_Y_PERCENT:
        return 2.0 - log10(y);
    case WP_Y_ABSORBANCE:
        return y;
    default:
        return NAN;
    }
}

struct point {
    double x;
    double y;
};

static int point_order(const void *left, const void *right)
{
    const struct point *a = left;
    const struct point *b = right;
    return (a->x > b->x) - (a->x < b->x);
}

/* The points that have a wavenumber and a value, in the file's order. */
static size_t collect(const struct wp_spectrum *spectrum, struct point *points)
{
    bool needs_positive = spectrum->x_unit != WP_X_CM1;
    size_t count = 0;
    for (size_t i = 0; i < spectrum->count; i++) {
        double x = spectrum->x[i];
        if (!isfinite(spectrum->y[i]) || (needs_positive && x <= 0.0))
            continue;
        double wavenumber = wp_x_to_cm1(x, spectrum->x_unit);
        if (fabs(wavenumber) <= X_MOST)
            points[count++] = (struct point){wavenumber, spectrum->y[i]};
    }
    return count;
}

static void reverse(struct point *points, size_t count)
{
    for (size_t i = 0, j = count; i + 1 < j; i++) {
        j--;
        struct point keep = points[i];
        points[i] = points[j];
        points[j] = keep;
    }
}

/* Nearly every file is monotonic, so sorting is the exception. */
static void arrange(struct point *points, size_t count)
{
    size_t rising = 0;
    for (size_t i = 1; i < count; i++)
        rising += points[i].x >= points[i - 1].x;
    if (rising == 0)
        reverse(points, count);
    else if (rising + 1 != count)
        qsort(points, count, sizeof *points, point_order);
}

static size_t drop_repeats(struct point *points, size_t count)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (kept == 0 || points[i].x > points[kept - 1].x)
            points[kept++] = points[i];
    return kept;
}

static int double_order(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

/* `scratch` has room for `count` values. */
static double median_spacing(const double *x, size_t count, double *scratch)
{
    double mean = (x[count - 1] - x[0]) / (double)(count - 1);
    double off = 0.0; /* of an even grid: written abscissae are rounded */
    for (size_t i = 1; i < count; i++) {
        double here = fabs(x[i] - (x[0] + mean * (double)i));
        off = here > off ? here : off;
        scratch[i - 1] = x[i] - x[i - 1];
    }
    if (off <= 0.3 * mean)
        return mean;
    qsort(scratch, count - 1, sizeof *scratch, double_order);
    return scratch[(count - 1) / 2];
}

/* log() is several times as fast as log10(); the product differs from it in the last place only. */
static void fill_from_transmittance(struct wp_curve *curve, const struct point *points,
                                    double divisor)
{
    const double most = -log10(WP_T_FLOOR);
    for (size_t i = 0; i < curve->count; i++) {
        double t = points[i].y / divisor;
        t = t < -T_MOST ? -T_MOST : t > T_MOST ? T_MOST : t;
        curve->t[i] = t;
        curve->a[i] = t > WP_T_FLOOR ? -M_LOG10E * log(t) : most;
    }
}

static void fill_from_absorbance(struct wp_curve *curve, const struct point *points)
{
    const double most = -log10(WP_T_FLOOR);
    for (size_t i = 0; i < curve->count; i++) {
        double a = points[i].y > A_LEAST ? points[i].y : A_LEAST;
        curve->a[i] = a < most ? a : most;
        curve->t[i] = exp(-M_LN10 * a);
    }
}

static void fill(const struct wp_spectrum *spectrum, const struct point *points,
                 struct wp_curve *curve)
{
    for (size_t i = 0; i < curve->count; i++)
        curve->x[i] = points[i].x;
    curve->step = median_spacing(curve->x, curve->count, curve->a);
    curve->from_absorbance = spectrum->y_unit == WP_Y_ABSORBANCE;
    if (curve->from_absorbance)
        fill_from_absorbance(curve, points);
    else
        fill_from_transmittance(curve, points, spectrum->y_unit == WP_Y_PERCENT ? 100.0 : 1.0);
}

static enum wp_status build(const struct wp_spectrum *spectrum, struct point *points,
                            struct wp_curve *curve, struct wp_error *error)
{
    size_t count = collect(spectrum, points);
    arrange(points, count);
    count = drop_repeats(points, count);
    if (count < POINTS_LEAST)
        return wp_fail(error, WP_INVALID, "only %zu usable points; %d are the least", count,
                       POINTS_LEAST);
    curve->x = malloc(3 * count * sizeof *curve->x);
    if (!curve->x)
        return wp_fail(error, WP_NO_MEMORY, "no memory for %zu points", count);
    curve->a = curve->x + count;
    curve->t = curve->a + count;
    curve->count = count;
    fill(spectrum, points, curve);
    return WP_OK;
}

enum wp_status wp_curve_make(const struct wp_spectrum *spectrum, struct wp_curve *curve,
                             struct wp_error *error)
{
    memset(curve, 0, sizeof *curve);
    if (spectrum->x_unit == WP_X_OTHER || spectrum->y_unit == WP_Y_OTHER)
        return wp_fail(error, WP_INVALID, "the units are not those of an absorption spectrum");
    if (spectrum->discrete)
        return wp_fail(error, WP_INVALID, "a table of peaks is not a curve");
    if (spectrum->count < POINTS_LEAST)
        return wp_fail(error, WP_INVALID, "only %zu points; %d are the least", spectrum->count,
                       POINTS_LEAST);
    struct point *points = malloc(spectrum->count * sizeof *points);
    if (!points)
        return wp_fail(error, WP_NO_MEMORY, "no memory for %zu points", spectrum->count);
    enum wp_status status = build(spectrum, points, curve, error);
    free(points);
    return status;
}

void wp_curve_release(struct wp_curve *curve)
{
    free(curve->x); /* one block holds all three arrays */
    memset(curve, 0, sizeof *curve);
}
