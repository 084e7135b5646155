#include "base/memory.h"

#include <malloc.h>

#define MAPPED_ABOVE (32 << 20)
#define KEPT_MOST (128 << 20)

void wp_memory_keep(void)
{
    (void)mallopt(M_MMAP_THRESHOLD, MAPPED_ABOVE);
    (void)mallopt(M_TRIM_THRESHOLD, KEPT_MOST);
}
