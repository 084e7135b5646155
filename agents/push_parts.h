/* push_parts.h - what push.c (order, outcome) and offer.c (digests after an outage) share. */
#ifndef PUSH_PARTS_H
#define PUSH_PARTS_H

#include "backoff.h"
#include "push.h"

#define LANES 2
#define BYTES_AT_ONCE (4 * 1024 * 1024)

struct lane {
    struct wp_push *push;
    bool busy;
    int64_t number;
    int64_t size;
    unsigned char sha256[WP_SHA256_SIZE];
    struct wp_bytes body;
};

struct wp_push {
    struct wp_push_options options;
    struct wp_push_state state;
    struct lane lanes[LANES];
    unsigned busy;
    struct wp_backoff backoff;
    uv_timer_t timer;
    bool waiting; /* the timer runs */
    bool proven;  /* the last request succeeded: all lanes may be used */
    char *authorization;
    /* Offers. Captures up to (after_backfill, after) have been offered or need not be. */
    bool offering, offer_busy, no_offers;
    bool after_backfill;
    int64_t after;
    struct wp_bytes offer_body;
};

void push_url(const struct wp_push *push, const char *path, char out[WP_WIRE_TEXT + 64]);
/* An answer came, or none: true for 2xx, whose content is still to be judged. Else plans the next
 * attempt; *refused is set if the answer is final for this capture alone. */
bool push_judge(struct wp_push *push, const struct wp_http_answer *answer, bool *refused);
void push_again(struct wp_push *push, long asked_s, const char *why);
/* The exchange was of use: no more waiting. */
void push_worked(struct wp_push *push);
/* False if it could not be kept; then the next attempt is planned. */
bool push_receipt(struct wp_push *push, const struct wp_wire_receipt *receipt);
void push_describe(const struct wp_spool_capture *capture, struct wp_wire_capture *message);

/* True if an offer is under way or was started now, so that bodies beyond it must wait. */
bool push_offer(struct wp_push *push);
/* From now on captures are offered before they are sent. */
void push_offer_all(struct wp_push *push);
/* True if the capture may be sent with its body. */
bool push_offered(const struct wp_push *push, const struct wp_spool_capture *capture);

#endif
