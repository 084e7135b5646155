/* print.h - how the bytes of a wp_print are laid out. Private to this room.
 *
 * Little-endian. Version 1:
 *
 *   0   4  "WPL1"
 *   4   1  windows that are filled, 0 to 8
 *   5   1  k, signed: a sample counts in units of 2^k of transmittance
 *   6   2  zero
 *   8   4  float: smallest step between neighbouring ordinates, transmittance
 *  12   4  zero
 *  16  16 a window (8 of them):  float: wavenumber of its first sample; float: mean transmittance;
 *          float: distance between samples, cm-1; byte: samples; byte: 1 if they look like noise;
 *          two bytes zero
 * 144 110 a window: its samples, signed bytes; +-127 means "beyond"
 *
 * A sample is the fourth difference of the transmittance over points about 2 cm-1 apart, divided by
 * sqrt(70) so that white noise keeps its size: bands are smooth over that distance and all but
 * vanish. Windows begin at fixed wavenumbers, in stretches where most samples absorb little.
 */
#ifndef SPECTRUM_PRINT_H
#define SPECTRUM_PRINT_H

#include <stdint.h>
#include <string.h>

#include "spectrum/likeness.h"

#define PRINT_WINDOWS 8
#define PRINT_SAMPLES 110
#define PRINT_HEAD 16
#define PRINT_WINDOW_HEAD 16
#define PRINT_BEYOND 127

static inline void print_put_float(unsigned char *bytes, float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    for (unsigned i = 0; i < 4; i++)
        bytes[i] = (unsigned char)(bits >> (8 * i));
}

static inline float print_get_float(const unsigned char *bytes)
{
    uint32_t bits = 0;
    float value;
    for (unsigned i = 0; i < 4; i++)
        bits |= (uint32_t)bytes[i] << (8 * i);
    memcpy(&value, &bits, sizeof value);
    return value;
}

static inline size_t print_window_head(size_t window)
{
    return PRINT_HEAD + window * PRINT_WINDOW_HEAD;
}

static inline size_t print_samples(size_t window)
{
    return PRINT_HEAD + PRINT_WINDOWS * PRINT_WINDOW_HEAD + window * PRINT_SAMPLES;
}

_Static_assert(PRINT_HEAD + PRINT_WINDOWS * (PRINT_WINDOW_HEAD + PRINT_SAMPLES) == WP_PRINT_SIZE,
               "the layout fills the print");

#endif
