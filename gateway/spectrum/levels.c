#include "levels.h"

#include <math.h>
#include <string.h>

#include "fringes.h"
#include "remarks_table.h"

/* Noise of neighbouring points is alike where a program has filled in points between, so the
 * estimate compares points about this far apart (cm-1). */
#define NOISE_LAG 3.0
/* Lower quartile of the absolute value of a standard normal variable. */
#define QUARTILE 0.31863936
/* A floor above this is no floor but a band that is not opaque. */
#define FLOOR_MOST 0.06
/* Between these it is taken for zero: a strong band of a good film reads so, and an export as
 * absorbance has lost what lies below zero. Fogged plates lift the floor to 2-5 %T. */
#define FLOOR_LEAST 0.012
#define FLOOR_BELOW (-0.003)
/* A flat bottom has steep sides: a dip that is this far open higher up (transmittance) is less than
 * this many times as wide there. The rounded bottom of a band that is merely deep is twice as wide.
 */
#define SIDE_ABOVE 0.04
#define SIDE_TIMES 1.45

/* Magnitudes are counted by exponent and the first 4 bits of the mantissa: good to 6 %, and a
 * single pass where a sort or a selection would need several. */
#define BIN_SHIFT 19
#define BINS (1u << (31 - BIN_SHIFT))

static unsigned bin_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return (bits & 0x7fffffffu) >> BIN_SHIFT;
}

static double bin_start(unsigned bin)
{
    uint32_t bits = (uint32_t)bin << BIN_SHIFT;
    float value;
    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

static double lower_quartile(const uint32_t *bins, size_t count)
{
    double wanted = 0.25 * (double)count;
    double seen = 0.0;
    for (unsigned bin = 0; bin + 1 < BINS; bin++) {
        double here = (double)bins[bin];
        if (here > 0.0 && seen + here >= wanted) {
            double from = bin_start(bin);
            return from + (bin_start(bin + 1) - from) * (wanted - seen) / here;
        }
        seen += here;
    }
    return 0.0;
}

/* A point against the mean of its neighbours on either side: bands are smooth over that distance
 * and drop out, noise does not. The quartile, not the mean, so that sharp bands do not count. */
static double noise_of(const struct wp_curve *curve)
{
    uint32_t bins[BINS] = {0};
    size_t lag = wp_curve_points(curve, NOISE_LAG);
    if (curve->count < 2 * lag + 4)
        return 0.0;
    const double *t = curve->t;
    size_t used = curve->count - 2 * lag;
    for (size_t i = 0; i < used; i++)
        bins[bin_of((float)(t[i + lag] - 0.5 * (t[i] + t[i + 2 * lag])))]++;
    return lower_quartile(bins, used) / QUARTILE / sqrt(1.5);
}

#define RUN 5

static double lowest_mean(const struct wp_curve *curve)
{
    const double *t = curve->t;
    double sum = 0.0;
    for (size_t i = 0; i < RUN; i++)
        sum += t[i];
    double least = sum;
    for (size_t i = RUN; i < curve->count; i++) {
        sum += t[i] - t[i - RUN];
        least = sum < least ? sum : least;
    }
    return least / RUN;
}

static bool is_flat_at(const struct wp_curve *curve, double low, double noise)
{
    double near = low + wp_limit(WP_LIMIT_FLAT_ABOVE) / 100.0 + 2.0 * noise;
    double far = low + SIDE_ABOVE;
    for (size_t i = 0; i < curve->count; i++) {
        size_t from = i;
        size_t bottom = 0;
        for (; i < curve->count && curve->t[i] < far; i++)
            bottom += curve->t[i] < near;
        if ((double)bottom * curve->step >= wp_limit(WP_LIMIT_FLAT_WIDTH) &&
            (double)(i - from) < SIDE_TIMES * (double)bottom)
            return true;
    }
    return false;
}

static double floor_of(const struct wp_curve *curve, double noise)
{
    double low = lowest_mean(curve);
    if (low > FLOOR_MOST || (low > FLOOR_BELOW && low < FLOOR_LEAST))
        return 0.0;
    if (is_flat_at(curve, low, noise))
        return low;
    return low < 0.0 ? low : 0.0;
}

void wp_levels_find(const struct wp_curve *curve, struct wp_levels *levels)
{
    levels->noise = noise_of(curve);
    levels->floor = floor_of(curve, levels->noise);
    double above = fmax(wp_limit(WP_LIMIT_FLAT_ABOVE) / 100.0, 3.0 * levels->noise);
    levels->flat_t = levels->floor + above;
    if (levels->flat_t < 2.0 * WP_T_FLOOR)
        levels->flat_t = 2.0 * WP_T_FLOOR;
    levels->flat_a = -log10(levels->flat_t);
    levels->ripple = wp_fringes_measure(curve, &levels->ripple_period);
}

size_t wp_curve_at(const struct wp_curve *curve, double wavenumber)
{
    size_t from = 0;
    size_t to = curve->count;
    while (from < to) {
        size_t middle = from + (to - from) / 2;
        if (curve->x[middle] < wavenumber)
            from = middle + 1;
        else
            to = middle;
    }
    return from;
}

size_t wp_curve_points(const struct wp_curve *curve, double width)
{
    double points = width / curve->step + 0.5;
    if (!(points < (double)curve->count))
        return curve->count;
    return points < 1.0 ? 1 : (size_t)points;
}
