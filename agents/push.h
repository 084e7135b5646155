/* push.h - sends waiting captures to the gateway until it holds a receipt for each.
 *
 * Captures of now go before backfill, then by number, up to two at once. After a failure it waits
 * (backoff.h, Retry-After) and then tries one before it tries two. When receipts may have been
 * lost it first offers digests, 100 at a time, so that bytes the gateway has are not sent again.
 *
 * Thread: the loop's.
 */
#ifndef AGENT_PUSH_H
#define AGENT_PUSH_H

#include <uv.h>

#include "base/http.h"
#include "spool.h"
#include "wire/messages.h"

struct wp_push;

struct wp_push_options {
    uv_loop_t *loop;
    struct wp_http *http;
    struct wp_spool *spool;
    const char *base;  /* "https://host:port" */
    const char *token; /* both outlive the push */
    void *arg;
    void (*changed)(void *arg); /* reached, refused or ledger changed */
    void (*broken)(void *arg, const char *text);
};

struct wp_push_state {
    bool reached;     /* the last exchange succeeded */
    bool unwanted;    /* the gateway refuses our token */
    int64_t retry_us; /* steady clock: when it is tried again; 0: now */
    char text[WP_WIRE_TEXT];
    struct wp_wire_ledger ledger; /* the newest entry any receipt named */
};

struct wp_push *wp_push_new(const struct wp_push_options *options);
/* Something may be waiting. */
void wp_push_kick(struct wp_push *push);
const struct wp_push_state *wp_push_state(const struct wp_push *push);
/* The http client must have been freed before, so that nothing is under way. */
void wp_push_free(struct wp_push *push);

#endif
