#include "peaks.h"

#include <stdbool.h>

struct walk {
    const double *y;
    size_t count;
    double least;
    struct wp_top *tops; /* a stack, heights falling or equal from its bottom up */
    size_t depth;
    struct wp_peak *peaks;
    size_t found;
};

size_t wp_peaks_room(size_t count)
{
    return count / 2 + 2; /* tops are never neighbours; the two ends may stand in as well */
}

static double lower(double a, double b)
{
    return a < b ? a : b;
}

/* Takes the newest top off the stack. `right` is the lowest value behind it. Returns the lowest
 * value behind the top that is now the newest. */
static double settle(struct walk *walk, double right)
{
    const struct wp_top *top = &walk->tops[--walk->depth];
    double valley = top->left > right ? top->left : right;
    bool inside = top->first > 0 && top->last + 1 < walk->count;
    if (inside && top->height - valley >= walk->least)
        walk->peaks[walk->found++] =
            (struct wp_peak){top->height, top->height - valley, top->first, top->last};
    return lower(right, top->gap);
}

/* Puts a top on the stack; what is lower than it is thereby settled. `valley` is the lowest value
 * between it and the top before it. */
static void put(struct walk *walk, struct wp_top top, double valley)
{
    while (walk->depth > 0 && walk->tops[walk->depth - 1].height < top.height)
        valley = settle(walk, valley);
    top.gap = valley;
    top.left = valley;
    if (walk->depth > 0 && walk->tops[walk->depth - 1].height == top.height)
        top.left = lower(valley, walk->tops[walk->depth - 1].left);
    walk->tops[walk->depth++] = top;
}

/* The lowest value before the first top. Behind the first valley none is lower than the valley. */
static double lowest_before(const double *y, uint32_t top)
{
    double low = y[0];
    for (uint32_t i = 1; i < top; i++)
        low = lower(low, y[i]);
    return low;
}

/* From point `i` up to the top; returns where the curve has fallen from it far enough, or count. */
static size_t climb(const struct walk *walk, size_t i, struct wp_top *top)
{
    for (; i < walk->count; i++) {
        double v = walk->y[i];
        if (v > top->height) {
            top->height = v;
            top->first = (uint32_t)i;
            top->last = (uint32_t)i;
        } else if (v == top->height) {
            top->last = (uint32_t)i;
        } else if (top->height - v >= walk->least) {
            break;
        }
    }
    return i;
}

/* From point `i` down to the valley; returns where the curve has risen from it far enough. */
static size_t descend(const struct walk *walk, size_t i, double *low)
{
    for (*low = walk->y[i++]; i < walk->count; i++) {
        double v = walk->y[i];
        if (v < *low)
            *low = v;
        else if (v > *low && v - *low >= walk->least)
            break;
    }
    return i;
}

/* The walk follows the curve with a dead band of `least`: a top counts once the curve has fallen
 * that far from it, a valley once it has risen that far. What is less than that can neither be a
 * peak nor stand between a peak and its valley, so nothing is lost and noise costs no time. */
size_t wp_peaks_find(const double *y, size_t count, double least, struct wp_peak *peaks,
                     struct wp_top *tops)
{
    struct walk walk = {y, count, least, tops, 0, peaks, 0};
    struct wp_top top = {.height = count > 0 ? y[0] : 0.0};
    double low = 0.0;
    if (count < 3)
        return 0;
    size_t i = climb(&walk, 1, &top);
    low = lowest_before(y, top.first);
    while (i < count) {
        put(&walk, top, low);
        i = descend(&walk, i, &low);
        if (i == count)
            break;
        top = (struct wp_top){.height = y[i], .first = (uint32_t)i, .last = (uint32_t)i};
        i = climb(&walk, i + 1, &top);
        if (i == count) { /* it never fell far enough: no peak, but it bounds those before it */
            top.last = (uint32_t)(count - 1);
            put(&walk, top, low);
            low = top.height;
        }
    }
    while (walk.depth > 0)
        low = settle(&walk, low);
    return walk.found;
}
