/* peaks.h - peaks of an array and their prominence, in one pass. Private to this room.
 *
 * Prominence is the height above the higher of the two valleys beside a peak, each valley being
 * the lowest value up to the next strictly higher sample or the end of the array (definition as
 * documented for scipy.signal.peak_prominences). A plateau is one peak; plateaus of one height that
 * are parted by less than the least prominence are one as well. The first and the last sample are
 * no peaks.
 */
#ifndef SPECTRUM_PEAKS_H
#define SPECTRUM_PEAKS_H

#include <stddef.h>
#include <stdint.h>

struct wp_peak {
    double height;
    double prominence;
    uint32_t first; /* where its plateau begins */
    uint32_t last;  /* and ends; both the same for a sharp top */
};

/* A top that nothing higher has been seen behind yet. */
struct wp_top {
    double height;
    double left; /* lowest value between it and the next strictly higher sample to its left */
    double gap;  /* lowest value between it and the top under it on the stack */
    uint32_t first;
    uint32_t last;
};

/* The room that `peaks` and `tops` need for an array of `count` values. */
size_t wp_peaks_room(size_t count);

/* Writes the peaks of `y` whose prominence is at least `least` (0 or more) to `peaks`, in the order
 * in which something higher appears behind them. `tops` is scratch. Returns how many. Linear in
 * `count` (at most UINT32_MAX) whatever the values; they must not be NAN. */
size_t wp_peaks_find(const double *y, size_t count, double least, struct wp_peak *peaks,
                     struct wp_top *tops);

#endif
