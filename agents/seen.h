/* seen.h - which files of one folder have been dealt with, in 16 bytes a file.
 *
 * A file is known by the keyed hash of its path (64 bits) and a mark of its state: 40 bits over
 * size, modification time and inode, 24 bits over the time of its last change of any kind. So a
 * new state is mistaken for the old one once in 10^12. Thread: one at a time.
 */
#ifndef AGENT_SEEN_H
#define AGENT_SEEN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/status.h"
#include "settle.h"
#include "spool.h"

struct wp_seen {
    struct wp_seen_pair *slots; /* open addressing; key 0 is an empty slot */
    size_t room;                /* a power of two */
    size_t count;
    unsigned char secret[16];
};

/* `secret` keys the hash and must stay the same for a state folder. */
void wp_seen_init(struct wp_seen *seen, const unsigned char secret[16]);
void wp_seen_release(struct wp_seen *seen);

uint64_t wp_seen_key(const struct wp_seen *seen, const char *path);
uint64_t wp_seen_mark(const struct wp_seen *seen, const struct wp_look *look);

/* NULL if the path is new. Valid until the next put. */
const struct wp_seen_pair *wp_seen_find(const struct wp_seen *seen, uint64_t key);
enum wp_status wp_seen_put(struct wp_seen *seen, uint64_t key, uint64_t mark);

/* Forgets these keys, given in rising order; the table gets smaller where it can. Without memory
 * nothing is forgotten. */
void wp_seen_drop(struct wp_seen *seen, const uint64_t *keys, size_t count);

/* True if only the time of change differs: renamed rights, owner or name, not content. */
bool wp_seen_same_content(uint64_t mark, uint64_t other);
/* True if some path was seen with this size, time and inode. Walks the whole table. */
bool wp_seen_anywhere(const struct wp_seen *seen, uint64_t mark);

#endif
