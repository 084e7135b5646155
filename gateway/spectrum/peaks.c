#include "peaks.h"

#include <math.h>

struct walk {
    const double *y;
    size_t count;
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
    if (top->first > 0 && top->last + 1 < walk->count)
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

/* The walk follows the curve with a dead band of `least`: a top counts once the curve has fallen
 * that far from it, a valley once it has risen that far. What is less than that can neither be a
 * peak nor stand between a peak and its valley, so nothing is lost and noise costs no time. */
size_t wp_peaks_find(const double *y, size_t count, double least, struct wp_peak *peaks,
                     struct wp_top *tops)
{
    struct walk walk = {y, count, tops, 0, peaks, 0};
    if (count < 3)
        return 0;
    struct wp_top top = {.height = y[0]};
    double valley = INFINITY;
    double low = y[0];
    size_t i = 1;
    while (i < count) {
        for (; i < count; i++) { /* up to the top */
            double v = y[i];
            if (v > top.height) {
                top.height = v;
                top.first = (uint32_t)i;
                top.last = (uint32_t)i;
            } else if (v == top.height) {
                top.last = (uint32_t)i;
            } else if (top.height - v >= least) {
                break;
            }
        }
        put(&walk, top, valley);
        if (i == count) {
            low = INFINITY;
            break;
        }
        for (low = y[i++]; i < count; i++) { /* down to the valley */
            double v = y[i];
            if (v < low)
                low = v;
            else if (v > low && v - low >= least)
                break;
        }
        if (i == count)
            break;
        valley = low;
        top = (struct wp_top){.height = y[i], .first = (uint32_t)i, .last = (uint32_t)i};
        i++;
    }
    while (walk.depth > 0)
        low = settle(&walk, low);
    return walk.found;
}
