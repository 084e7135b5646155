/* backoff.h - how long to wait before trying again. Pure but for the random number given.
 *
 * The wait doubles from 1 s to 5 min; each wait is drawn evenly between half of that and all of
 * it, so that agents which failed together do not come back together.
 */
#ifndef AGENT_BACKOFF_H
#define AGENT_BACKOFF_H

#include <stdint.h>

struct wp_backoff {
    unsigned failures;
};

/* One more failure. `asked_s` is what the peer asked for (Retry-After), 0 if nothing; then up to
 * a quarter, at most 30 s, is added. `random` is any 32 random bits. Returns milliseconds. */
uint64_t wp_backoff_fail(struct wp_backoff *backoff, long asked_s, uint32_t random);

void wp_backoff_reset(struct wp_backoff *backoff);

#endif
