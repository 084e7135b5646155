#include "backoff.h"

#define FIRST_MS 1000
#define LONGEST_MS 300000
#define LONGEST_ASKED_S 3600

uint64_t wp_backoff_fail(struct wp_backoff *backoff, long asked_s, uint32_t random)
{
    uint64_t wait = FIRST_MS;
    for (unsigned i = 0; i < backoff->failures && wait < LONGEST_MS; i++)
        wait *= 2;
    if (wait > LONGEST_MS)
        wait = LONGEST_MS;
    if (backoff->failures < 32)
        backoff->failures++;
    wait = wait / 2 + random % (wait / 2 + 1);
    if (asked_s <= 0)
        return wait;
    uint64_t asked = (uint64_t)(asked_s < LONGEST_ASKED_S ? asked_s : LONGEST_ASKED_S) * 1000;
    uint64_t spread = asked / 4 < 30000 ? asked / 4 : 30000;
    return asked + random % (spread + 1);
}

void wp_backoff_reset(struct wp_backoff *backoff)
{
    backoff->failures = 0;
}
