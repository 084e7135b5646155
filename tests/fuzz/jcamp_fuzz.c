/* JCAMP-DX: every input is made to begin as the reader expects it. */
#include <stdlib.h>
#include <string.h>

#include "read_fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char first[] = "##TITLE=";
    read_and_check(data, size);
    if (size >= sizeof first - 1 && memcmp(data, first, sizeof first - 1) == 0)
        return 0;
    uint8_t *begun = malloc(size + sizeof first);
    if (!begun)
        return 0;
    memcpy(begun, first, sizeof first - 1);
    if (size)
        memcpy(begun + sizeof first - 1, data, size);
    read_and_check(begun, size + sizeof first - 1);
    free(begun);
    return 0;
}
