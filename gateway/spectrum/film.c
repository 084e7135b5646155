#include "spectrum/film.h"

#include <math.h>
#include <string.h>

#include "bands_shape.h"
#include "windows.h"

/* Positions and tolerances: JP 14 Supplement 1 and Ph. Eur. 4.0, infrared chapter. Both print the
 * band minima of a polystyrene film of about 0.04 mm; NIST SRM 1921b certifies the same minima. */
static const struct {
    double position;
    double tolerance;
} bands[] = {{3060.0, 1.5}, {2849.5, 1.5}, {1942.9, 1.5}, {1601.2, 1.0},
             {1583.0, 1.0}, {1154.5, 1.0}, {1028.3, 1.0}};
#define BANDS (sizeof bands / sizeof bands[0])

/* Resolution, same sources: 2870 against 2850 and 1589 against 1583 cm-1, %T. The limits in
 * absorbance that later editions are said to use are values from memory and decide nothing. */
#define DEPTH_2850_T 18.0
#define DEPTH_1583_T 12.0

/* A band farther off than this is not searched for (cm-1); common practice, no source. */
#define SEARCH 8.0
/* It must stand this many standard deviations of the noise above both ends of the search. */
#define STANDS_OUT 4.0
/* About the width of the film's narrower bands, cm-1; bounds the fit of the position. */
#define FIT_OVER 16.0
/* So many of the seven must lie this close for the curve to be a polystyrene film: toluene, its
 * nearest neighbour, has five. */
#define FILM_BANDS_LEAST 6
#define FILM_NEAR 5.0

static size_t highest_between(const struct wp_curve *curve, double low, double high)
{
    size_t from = wp_curve_at(curve, low);
    size_t end = wp_curve_at(curve, high);
    size_t top = from;
    for (size_t i = from; i < end; i++)
        if (curve->a[i] > curve->a[top])
            top = i;
    return top;
}

static double lowest_between(const struct wp_curve *curve, double low, double high)
{
    double least = INFINITY;
    size_t end = wp_curve_at(curve, high);
    for (size_t i = wp_curve_at(curve, low); i < end; i++)
        least = curve->a[i] < least ? curve->a[i] : least;
    return least;
}

/* Index of the band's top, or 0 where there is none. */
static size_t top_of(const struct wp_curve *curve, const struct wp_levels *levels, double expected)
{
    size_t from = wp_curve_at(curve, expected - SEARCH);
    size_t end = wp_curve_at(curve, expected + SEARCH);
    size_t top = highest_between(curve, expected - SEARCH, expected + SEARCH);
    if (top <= from || top + 1 >= end)
        return 0;
    double noise = STANDS_OUT * M_LOG10E * levels->noise / fmax(curve->t[top], levels->flat_t);
    bool stands_out =
        curve->a[top] > curve->a[from] + noise && curve->a[top] > curve->a[end - 1] + noise;
    return stands_out ? top : 0;
}

static void check_bands(const struct wp_curve *curve, const struct wp_levels *levels,
                        struct wp_film_check *out)
{
    size_t found = 0;
    size_t near = 0;
    double shift = 0.0;
    out->band_count = BANDS;
    for (size_t i = 0; i < BANDS; i++) {
        struct wp_film_band *band = &out->bands[i];
        size_t top = top_of(curve, levels, bands[i].position);
        *band = (struct wp_film_band){bands[i].position, bands[i].tolerance, NAN, false};
        if (top == 0)
            continue;
        band->found = wp_band_position(curve, levels, top, FIT_OVER);
        double off = band->found - band->expected;
        band->within = fabs(off) <= band->tolerance;
        near += fabs(off) <= FILM_NEAR;
        shift += off;
        found++;
    }
    out->is_film = near >= FILM_BANDS_LEAST;
    out->mean_shift = found > 0 ? shift / (double)found : NAN;
}

/* Depth of the valley at low..high beside the top near `peak`, in absorbance and in %T. */
static void measure_depth(const struct wp_curve *curve, double peak, double low, double high,
                          double *depth, double *depth_t)
{
    double top = curve->a[highest_between(curve, peak - 3.0, peak + 3.0)];
    double valley = lowest_between(curve, low, high);
    *depth = top - valley;
    *depth_t = 100.0 * (exp(-M_LN10 * valley) - exp(-M_LN10 * top));
}

enum wp_status wp_film_check(const struct wp_curve *curve, struct wp_film_check *out)
{
    struct wp_levels levels;
    memset(out, 0, sizeof *out);
    out->mean_shift = NAN;
    out->noise = NAN;
    out->depth_1583 = out->depth_2850 = out->depth_1583_t = out->depth_2850_t = NAN;
    if (curve->count < 3 || curve->x[0] > 1000.0 || curve->x[curve->count - 1] < 3100.0)
        return WP_INVALID;
    wp_levels_find(curve, &levels);
    check_bands(curve, &levels, out);
    measure_depth(curve, 1583.0, 1586.5, 1592.0, &out->depth_1583, &out->depth_1583_t);
    measure_depth(curve, 2849.5, 2864.0, 2876.0, &out->depth_2850, &out->depth_2850_t);
    out->resolution_ok = out->depth_2850_t >= DEPTH_2850_T && out->depth_1583_t >= DEPTH_1583_T;
    out->noise = wp_quiet_noise(curve);
    bool all = out->is_film;
    for (size_t i = 0; i < out->band_count; i++)
        all = all && out->bands[i].within;
    out->passed = all && out->resolution_ok;
    return WP_OK;
}
