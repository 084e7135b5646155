/* Delimited text, in whatever encoding. */
#include "read_fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    read_and_check(data, size);
    return 0;
}
