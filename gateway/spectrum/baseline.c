#include "baseline.h"

#define STRETCHES 512
#define STRETCH_LEAST 8

/* Carbon dioxide taken off in excess points up there; the line passes under it. cm-1 */
static bool in_dioxide(double x)
{
    return (x > 2280.0 && x < 2400.0) || (x > 655.0 && x < 680.0);
}

/* True if the middle point lies above the line from the one before to the one behind, or on it. */
static bool is_above(const struct wp_baseline *b, size_t middle, double x, double a)
{
    double run = b->x[middle] - b->x[middle - 1];
    double rise = b->a[middle] - b->a[middle - 1];
    return rise * (x - b->x[middle - 1]) >= (a - b->a[middle - 1]) * run;
}

static void add(struct wp_baseline *b, double x, double a)
{
    while (b->count > 1 && is_above(b, b->count - 1, x, a))
        b->count--;
    b->x[b->count] = x;
    b->a[b->count] = a;
    b->count++;
}

static size_t lowest_of(const double *a, size_t from, size_t end)
{
    size_t lowest = from;
    double least = a[from];
    for (size_t i = from + 1; i < end; i++) {
        bool lower = a[i] < least;
        least = lower ? a[i] : least;
        lowest = lower ? i : lowest;
    }
    return lowest;
}

void wp_baseline_make(const struct wp_curve *curve, struct wp_baseline *baseline)
{
    size_t stretch = curve->count / STRETCHES + 1;
    stretch = stretch < STRETCH_LEAST ? STRETCH_LEAST : stretch;
    baseline->count = 0;
    for (size_t from = 0; from < curve->count; from += stretch) {
        size_t end = from + stretch < curve->count ? from + stretch : curve->count;
        size_t lowest = lowest_of(curve->a, from, end);
        if (from == 0 || end == curve->count || !in_dioxide(curve->x[lowest]))
            add(baseline, curve->x[lowest], curve->a[lowest]);
    }
}

double wp_baseline_at(const struct wp_baseline *b, double x)
{
    if (b->count == 0)
        return 0.0;
    if (x <= b->x[0])
        return b->a[0];
    size_t from = 0;
    size_t to = b->count - 1;
    if (x >= b->x[to])
        return b->a[to];
    while (to - from > 1) {
        size_t middle = (from + to) / 2;
        if (b->x[middle] <= x)
            from = middle;
        else
            to = middle;
    }
    double share = (x - b->x[from]) / (b->x[to] - b->x[from]);
    return b->a[from] + share * (b->a[to] - b->a[from]);
}
