#include "base/id.h"

#include <stdatomic.h>

#include "base/clock.h"

/* 2024-01-01T00:00:00Z */
#define EPOCH_US INT64_C(1704067200000000)
#define PER_MILLISECOND 4096

static _Atomic int64_t last;

int64_t wp_id_at(int64_t utc_us)
{
    return utc_us <= EPOCH_US ? 0 : (utc_us - EPOCH_US) / 1000 * PER_MILLISECOND;
}

int64_t wp_id_next(void)
{
    int64_t now = wp_id_at(wp_clock_utc());
    int64_t before = atomic_load(&last);
    int64_t next;
    do
        next = now > before ? now : before + 1;
    while (!atomic_compare_exchange_weak(&last, &before, next));
    return next;
}

int64_t wp_id_last(void)
{
    return atomic_load(&last);
}

void wp_id_seed(int64_t seen)
{
    int64_t before = atomic_load(&last);
    while (before < seen && !atomic_compare_exchange_weak(&last, &before, seen))
        ;
}
