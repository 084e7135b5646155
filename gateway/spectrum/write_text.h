/* write_text.h - text that is safe to put into a file of either format.
 *
 * Private to the spectrum room.
 */
#ifndef SPECTRUM_WRITE_TEXT_H
#define SPECTRUM_WRITE_TEXT_H

#include "base/bytes.h"
#include "spectrum/spectrum.h"

/* Ordinates as integers times a factor. */
struct wp_scaling {
    double factor;
    bool exact; /* integer times factor is the ordinate itself, bit for bit */
};

/* The coarsest factor that keeps every ordinate: the spectrum's own, else a power of ten, exactly
 * or to 2 units in the last place. Where there is none, one that keeps 15 digits of the largest. */
struct wp_scaling wp_scaling_find(const struct wp_spectrum *spectrum);

/* The fewest decimals, at most 15, with which every one of `values` is written exactly; -1 if more
 * are needed. */
int wp_decimals_of(const double *values, size_t count);

#endif
