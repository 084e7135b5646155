/* The least work that turns the digits of a table into numbers: no labels, no checks of any kind,
 * no memory. What the reader is measured against. */
#ifndef TESTS_BENCH_BARE_H
#define TESTS_BENCH_BARE_H

#include <stddef.h>

/* Decode the table at `text`, which ends at a "#", into `out`; return how many ordinates. */
size_t bare_affn(const char *text, double *out);
size_t bare_pseudo(const char *text, double *out);

#endif
