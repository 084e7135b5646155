#include "seen.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#define CHANGE_BITS 24
#define ROOM_LEAST 256

void wp_seen_init(struct wp_seen *seen, const unsigned char secret[16])
{
    *seen = (struct wp_seen){.slots = NULL};
    memcpy(seen->secret, secret, sizeof seen->secret);
}

void wp_seen_release(struct wp_seen *seen)
{
    free(seen->slots);
    seen->slots = NULL;
    seen->room = seen->count = 0;
}

static uint64_t hash(const struct wp_seen *seen, const void *data, size_t size)
{
    unsigned char out[crypto_shorthash_BYTES];
    uint64_t value;
    (void)crypto_shorthash(out, data, size, seen->secret);
    memcpy(&value, out, sizeof value);
    return value;
}

uint64_t wp_seen_key(const struct wp_seen *seen, const char *path)
{
    uint64_t key = hash(seen, path, strlen(path));
    return key ? key : 1;
}

uint64_t wp_seen_mark(const struct wp_seen *seen, const struct wp_look *look)
{
    int64_t content[3] = {look->size, look->mtime_ns, (int64_t)look->inode};
    uint64_t high = hash(seen, content, sizeof content) >> CHANGE_BITS << CHANGE_BITS;
    return high | hash(seen, &look->ctime_ns, sizeof look->ctime_ns) >> (64 - CHANGE_BITS);
}

bool wp_seen_same_content(uint64_t mark, uint64_t other)
{
    return mark >> CHANGE_BITS == other >> CHANGE_BITS;
}

static size_t slot_of(const struct wp_seen *seen, uint64_t key)
{
    size_t at = (size_t)key & (seen->room - 1);
    while (seen->slots[at].key && seen->slots[at].key != key)
        at = (at + 1) & (seen->room - 1);
    return at;
}

const struct wp_seen_pair *wp_seen_find(const struct wp_seen *seen, uint64_t key)
{
    if (!seen->room)
        return NULL;
    size_t at = slot_of(seen, key);
    return seen->slots[at].key ? &seen->slots[at] : NULL;
}

static enum wp_status grow(struct wp_seen *seen)
{
    struct wp_seen larger = *seen;
    larger.room = seen->room ? seen->room * 2 : ROOM_LEAST;
    larger.slots = calloc(larger.room, sizeof *larger.slots);
    if (!larger.slots)
        return WP_NO_MEMORY;
    for (size_t i = 0; i < seen->room; i++)
        if (seen->slots[i].key)
            larger.slots[slot_of(&larger, seen->slots[i].key)] = seen->slots[i];
    free(seen->slots);
    *seen = larger;
    return WP_OK;
}

enum wp_status wp_seen_put(struct wp_seen *seen, uint64_t key, uint64_t mark)
{
    if (seen->count * 20 >= seen->room * 17 && grow(seen)) /* memory counts more than probes */
        return WP_NO_MEMORY;
    struct wp_seen_pair *slot = &seen->slots[slot_of(seen, key)];
    seen->count += slot->key ? 0 : 1;
    *slot = (struct wp_seen_pair){key, mark};
    return WP_OK;
}

static int compare(const void *a, const void *b)
{
    const uint64_t *one = a;
    const uint64_t *other = b;
    return (*one > *other) - (*one < *other);
}

void wp_seen_drop(struct wp_seen *seen, const uint64_t *keys, size_t count)
{
    struct wp_seen left = *seen;
    left.count = 0;
    left.room = ROOM_LEAST;
    while (left.room / 4 * 3 <= seen->count - (count < seen->count ? count : seen->count))
        left.room *= 2;
    left.slots = calloc(left.room, sizeof *left.slots);
    if (!left.slots)
        return;
    for (size_t i = 0; i < seen->room; i++) {
        const struct wp_seen_pair *pair = &seen->slots[i];
        if (pair->key && !bsearch(&pair->key, keys, count, sizeof *keys, compare)) {
            left.slots[slot_of(&left, pair->key)] = *pair;
            left.count++;
        }
    }
    free(seen->slots);
    *seen = left;
}

bool wp_seen_anywhere(const struct wp_seen *seen, uint64_t mark)
{
    for (size_t i = 0; i < seen->room; i++)
        if (seen->slots[i].key && wp_seen_same_content(seen->slots[i].mark, mark))
            return true;
    return false;
}
