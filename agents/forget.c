/* Files that are gone for long are forgotten, so that the record of what was seen does not grow for
 * ever. A pass once a day goes by one whole walk: what the walk did not meet is gone. */
#include <stdlib.h>

#include "base/clock.h"
#include "base/log.h"
#include "watch_parts.h"

#define FIRST_US (10 * WP_MINUTE)
#define EVERY_US WP_DAY
#define ROOM_FIRST 4096

bool forget_due(const struct wp_watch *watch)
{
    return wp_clock_steady() >= watch->forget_due_us;
}

void forget_later(struct wp_watch *watch, bool first)
{
    watch->forget_due_us = wp_clock_steady() + (first ? FIRST_US : EVERY_US);
}

void forget_begin(struct wp_watch *watch)
{
    watch->met_count = 0;
    watch->met_room = ROOM_FIRST;
    watch->met = malloc(watch->met_room * sizeof *watch->met);
}

void forget_drop(struct wp_watch *watch)
{
    free(watch->met);
    watch->met = NULL;
}

void forget_meet(struct wp_watch *watch, uint64_t key)
{
    if (watch->met && watch->met_count == watch->met_room) {
        uint64_t *more = realloc(watch->met, watch->met_room * 2 * sizeof *watch->met);
        if (!more) {
            forget_drop(watch);
            return;
        }
        watch->met = more;
        watch->met_room *= 2;
    }
    if (watch->met)
        watch->met[watch->met_count++] = key;
}

static int compare(const void *a, const void *b)
{
    const uint64_t *one = a;
    const uint64_t *other = b;
    return (*one > *other) - (*one < *other);
}

/* What was seen and not met now, in rising order. NULL: no memory. */
static uint64_t *gone_of(const struct wp_watch *watch, size_t *count)
{
    const struct wp_seen *seen = &watch->seen;
    uint64_t *gone = malloc((seen->count + 1) * sizeof *gone);
    *count = 0;
    for (size_t i = 0; gone && i < seen->room; i++) {
        uint64_t key = seen->slots[i].key;
        if (key && !bsearch(&key, watch->met, watch->met_count, sizeof key, compare))
            gone[(*count)++] = key;
    }
    if (gone)
        qsort(gone, *count, sizeof *gone, compare);
    return gone;
}

void forget_end(struct wp_watch *watch)
{
    size_t count = 0;
    size_t forgotten = 0;
    /* An empty folder is more likely a share that is not mounted than one that was cleared. */
    if (!watch->met || !watch->met_count)
        return;
    qsort(watch->met, watch->met_count, sizeof *watch->met, compare);
    uint64_t *gone = gone_of(watch, &count);
    if (gone &&
        !wp_spool_gone(watch->options.spool, watch->options.folder.id, wp_clock_utc(), gone, count,
                       &forgotten) &&
        forgotten) {
        wp_seen_drop(&watch->seen, gone, forgotten);
        wp_log(WP_LOG_INFO, "agent", "folder %lld: %zu files that are gone for long are forgotten",
               (long long)watch->options.folder.id, forgotten);
    }
    free(gone);
}
