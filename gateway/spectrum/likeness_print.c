/* Making a print: the fine structure of a curve at fixed places. */
#include <math.h>
#include <stdlib.h>

#include "levels.h"
#include "print.h"

/* The windows, cm-1. */
static const struct {
    double low;
    double high;
} places[PRINT_WINDOWS] = {{1760.0, 1980.0}, {1980.0, 2200.0}, {2200.0, 2420.0}, {2420.0, 2640.0},
                           {2640.0, 2860.0}, {3340.0, 3560.0}, {3560.0, 3780.0}, {3780.0, 4000.0}};

#define SPACING 2.0      /* cm-1 between the points of a difference, if the file has them */
#define SAMPLES_LEAST 24 /* in a window that is to count */
#define WINDOWS_LEAST 3
/* Neighbouring fourth differences of white noise correlate with -0.8; those of anything smooth
 * with a positive number. Noise that a program has smoothed lies between. */
#define NOISE_LIKE (-0.25)
#define UNITS_OF_NOISE                                                                             \
    12.0 /* the quietest window's standard deviation in stored units, at least                     \
          */
#define FINEST_UNIT (-40)
#define MEAN_LEAST 0.01
#define SAME 1e-9 /* transmittances closer than this differ by arithmetic alone */

struct window {
    size_t first; /* index of the first sample's point */
    size_t count;
    double mean;
    double sum_squares; /* of the samples that are not outliers */
    double correlation; /* of neighbouring samples */
    float samples[PRINT_SAMPLES];
};

static double fourth_difference(const double *t, size_t i, size_t lag)
{
    return (t[i - 2 * lag] + t[i + 2 * lag] - 4.0 * (t[i - lag] + t[i + lag]) + 6.0 * t[i]) /
           sqrt(70.0);
}

static bool is_even(const struct wp_curve *curve, size_t first, size_t last)
{
    double run = curve->x[last] - curve->x[first];
    double steps = run / curve->step;
    return fabs(steps - (double)(last - first)) < 0.5 + 0.02 * steps;
}

static void correlate(struct window *window)
{
    double squares = 0.0;
    double products = 0.0;
    for (size_t i = 0; i < window->count; i++) {
        double v = (double)window->samples[i];
        squares += v * v;
        if (i > 0)
            products += v * (double)window->samples[i - 1];
    }
    window->sum_squares = squares;
    window->correlation = squares > 0.0 ? products / squares : 0.0;
}

static bool take(const struct wp_curve *curve, size_t which, size_t lag, struct window *window)
{
    size_t first = wp_curve_at(curve, places[which].low);
    size_t end = wp_curve_at(curve, places[which].high);
    if (end + 2 * lag > curve->count)
        end = curve->count > 2 * lag ? curve->count - 2 * lag : 0;
    if (first < 2 * lag || first >= end)
        return false;
    window->first = first;
    window->count = (end - first + lag - 1) / lag;
    if (window->count > PRINT_SAMPLES)
        window->count = PRINT_SAMPLES;
    size_t last = first + (window->count - 1) * lag;
    if (window->count < SAMPLES_LEAST || !is_even(curve, first - 2 * lag, last + 2 * lag))
        return false;
    double sum = 0.0;
    for (size_t i = 0; i < window->count; i++) {
        window->samples[i] = (float)fourth_difference(curve->t, first + i * lag, lag);
        sum += curve->t[first + i * lag];
    }
    window->mean = sum / (double)window->count;
    correlate(window);
    return true;
}

/* The smallest step between neighbouring ordinates: what the file's digits resolve, where there is
 * enough noise to show it. Infinite if all are the same. */
static double resolved(const struct wp_curve *curve, const struct window *window, size_t lag)
{
    const double *t = curve->t;
    double least = INFINITY;
    for (size_t i = window->first; i < window->first + (window->count - 1) * lag; i++) {
        double difference = fabs(t[i + 1] - t[i]);
        if (difference > SAME && difference < least)
            least = difference;
    }
    return least;
}

static void store(const struct wp_curve *curve, const struct window *window, size_t lag,
                  size_t which, double unit, struct wp_print *print)
{
    unsigned char *head = print->bytes + print_window_head(which);
    unsigned char *samples = print->bytes + print_samples(which);
    print_put_float(head, (float)curve->x[window->first]);
    print_put_float(head + 4, (float)window->mean);
    print_put_float(head + 8, (float)(curve->step * (double)lag));
    head[12] = (unsigned char)window->count;
    head[13] = window->correlation < NOISE_LIKE;
    for (size_t i = 0; i < window->count; i++) {
        double v = rint((double)window->samples[i] / unit);
        v = v > PRINT_BEYOND ? PRINT_BEYOND : v < -PRINT_BEYOND ? -PRINT_BEYOND : v;
        samples[i] = (unsigned char)(signed char)v;
    }
}

static int unit_for(double quietest)
{
    if (!(quietest > 0.0))
        return FINEST_UNIT;
    int k = (int)floor(log2(quietest / UNITS_OF_NOISE));
    return k < FINEST_UNIT ? FINEST_UNIT : k > 0 ? 0 : k;
}

enum wp_status wp_print_make(const struct wp_curve *curve, struct wp_print *print)
{
    struct window windows[PRINT_WINDOWS];
    size_t count = 0;
    double quietest = INFINITY;
    double relative = INFINITY;
    double lightest = 0.0;
    memset(print, 0, sizeof *print);
    size_t lag = wp_curve_points(curve, SPACING);
    for (size_t i = 0; i < PRINT_WINDOWS; i++) {
        struct window *window = &windows[count];
        if (!take(curve, i, lag, window))
            continue;
        double size = sqrt(window->sum_squares / (double)window->count);
        quietest = size < quietest ? size : quietest;
        /* Digits of an absorbance resolve less where more light comes through. */
        relative = fmin(relative, resolved(curve, window, lag) / fmax(window->mean, MEAN_LEAST));
        lightest = fmax(lightest, window->mean);
        count++;
    }
    if (count < WINDOWS_LEAST)
        return WP_INVALID;
    int k = unit_for(quietest);
    memcpy(print->bytes, "WPL1", 4);
    print->bytes[4] = (unsigned char)count;
    print->bytes[5] = (unsigned char)(signed char)k;
    print_put_float(print->bytes + 8, isfinite(relative) ? (float)(relative * lightest) : 0.0f);
    for (size_t i = 0; i < count; i++)
        store(curve, &windows[i], lag, i, ldexp(1.0, k), print);
    return WP_OK;
}
