/* What both reader targets do with an input: read it under small limits, and hold the results to
 * what the public headers promise. A broken promise aborts, so that libFuzzer keeps the input. */
#ifndef TESTS_READ_FUZZ_H
#define TESTS_READ_FUZZ_H

#include <stddef.h>
#include <stdint.h>

void read_and_check(const uint8_t *data, size_t size);

#endif
