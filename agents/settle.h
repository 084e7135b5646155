/* settle.h - when a file has come to rest. A pure state machine; the caller looks at the file and
 * says what time it is (a clock that never jumps, in microseconds).
 */
#ifndef AGENT_SETTLE_H
#define AGENT_SETTLE_H

#include <stdbool.h>
#include <stdint.h>

/* What the file system says of a file. Times in nanoseconds since 1970. */
struct wp_look {
    int64_t size;
    int64_t mtime_ns;
    int64_t ctime_ns;
    uint64_t inode; /* 0 where it does not last (network shares) */
};

/* True if nothing that the file system tells has changed. */
bool wp_look_same(const struct wp_look *a, const struct wp_look *b);

struct wp_settle_rule {
    int64_t quiet_us; /* unchanged for so long: at rest */
    int64_t early_us; /* after this the file may be read to see whether it is complete; 0: never */
    int64_t empty_us; /* an empty file waits so long, for its content may be on the way */
};

struct wp_settle {
    struct wp_look last;
    int64_t since_us; /* when `last` was first seen */
    bool begun;
    bool tried_early;
};

enum wp_settled {
    WP_SETTLING,     /* look again at *due_us */
    WP_SETTLE_EARLY, /* worth reading now; if it is incomplete, look again at *due_us */
    WP_SETTLED
};

/* One look at the file. `*due_us` is when the next look is worth while. */
enum wp_settled wp_settle_see(struct wp_settle *settle, const struct wp_settle_rule *rule,
                              const struct wp_look *look, int64_t now_us, int64_t *due_us);

#endif
