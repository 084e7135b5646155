/* spectrum/read.h - bytes of an exported file to spectra.
 *
 * Reads JCAMP-DX 4.24 to 5.01 (McDonald and Wilks, Appl. Spectrosc. 42 (1988) 151; Lampen et al.,
 * Pure Appl. Chem. 71 (1999) 1549) and delimited text. What is accepted, warned about and refused
 * is listed in docs/formats.md.
 *
 * Pure and bounded: memory stays below 25 bytes a point plus a few times the header text (and, for
 * UTF-16 alone, a converted copy of the text), time is linear in the size of the input. Hostile
 * counts are refused before anything is allocated for them.
 */
#ifndef SPECTRUM_READ_H
#define SPECTRUM_READ_H

#include "spectrum/spectrum.h"

struct wp_read_limits {
    size_t bytes;   /* largest input */
    size_t points;  /* most points in one spectrum */
    size_t spectra; /* most spectra in one file */
    size_t total;   /* most points in the whole file */
    size_t depth;   /* deepest LINK nesting */
};

/* 64 MiB (and a little), 10 million points, 256 spectra, 12 million points in all, 8 deep. */
extern const struct wp_read_limits wp_read_limits_default;

/* Reads `size` bytes at `bytes` (need not be zero-terminated) into `*out`, which is overwritten.
 * `limits` NULL means the defaults. The caller releases `*out` whatever is returned.
 *
 * WP_OK: at least one spectrum and no error. WP_INVALID: not a spectrum, or damaged; out->error
 * has line, column and reason, and the blocks that were whole before it are kept. WP_TOO_LARGE:
 * beyond a limit, reason in out->error. WP_NO_MEMORY. The same value stands in out->error.status.
 */
enum wp_status wp_read(const void *bytes, size_t size, const struct wp_read_limits *limits,
                       struct wp_reading *out);

#endif
