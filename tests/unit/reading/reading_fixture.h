/* Shared by the tests of reading and writing. */
#ifndef TESTS_READING_FIXTURE_H
#define TESTS_READING_FIXTURE_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "spectrum/read.h"
#include "spectrum/write.h"

/* Reads a text; fails the test with the reader's words if it is refused. */
struct wp_reading read_ok(const char *text);
/* Reads a text that must be refused. */
struct wp_reading read_bad(const char *text, enum wp_status status);

/* A JCAMP-DX block: a plain head of 10 labels, `extra` labels, `table` (with its own label), END.
 * The head says 1/CM, TRANSMITTANCE, factors 1 and 0.001, x from 4000 to 3996. */
const char *block(const char *extra, const char *table);

/* True if a warning about `label` has `words` in its text. */
bool warned(const struct wp_reading *reading, const char *label, const char *words);
long warned_line(const struct wp_reading *reading, const char *label);

void expect_y(const struct wp_reading *reading, size_t spectrum, size_t count,
              const double *values);

#endif
