#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/log.h"
#include "push_parts.h"

#define OFFER_MOST (1024 * 1024)
#define LEAST_WORTH 2

void push_offer_all(struct wp_push *push)
{
    push->offering = !push->no_offers;
    push->after_backfill = false;
    push->after = 0;
}

bool push_offered(const struct wp_push *push, const struct wp_spool_capture *capture)
{
    if (!push->offering || capture->backfill < push->after_backfill)
        return true;
    return capture->backfill == push->after_backfill && capture->number <= push->after;
}

static void take_answer(struct wp_push *push, const struct wp_http_answer *answer)
{
    struct wp_error error;
    struct wp_wire_offered *offered = malloc(sizeof *offered);
    if (!offered || wp_wire_offered_get(answer->body, answer->size, offered, &error)) {
        wp_log(WP_LOG_WARN, "agent", "the answer to an offer was not understood: %s",
               offered ? error.text : "no memory");
        push->no_offers = true;
        push->offering = false;
    }
    bool kept = true;
    for (size_t i = 0; kept && !push->no_offers && i < offered->receipt_count; i++)
        kept = push_receipt(push, &offered->receipts[i]);
    if (kept)
        push_worked(push);
    free(offered);
}

static void answered(void *arg, const struct wp_http_answer *answer)
{
    struct wp_push *push = arg;
    bool refused = false;
    push->offer_busy = false;
    if (push_judge(push, answer, &refused)) {
        take_answer(push, answer);
    } else if (refused) {
        /* An offer saves sending; without it everything is sent. */
        push->no_offers = true;
        push->offering = false;
    }
    wp_bytes_release(&push->offer_body);
    wp_push_kick(push);
}

static size_t collect(struct wp_push *push, struct wp_wire_offer *offer)
{
    struct wp_spool_capture *next = calloc(1, sizeof *next);
    if (!next)
        return 0;
    next->backfill = push->after_backfill;
    next->number = push->after;
    offer->count = 0;
    while (offer->count < WP_WIRE_OFFERS && wp_spool_next_waiting(push->options.spool, next)) {
        struct wp_wire_capture *message = &offer->captures[offer->count++];
        push_describe(next, message);
        wp_hex_encode(next->sha256, sizeof next->sha256, message->sha256);
        push->after_backfill = next->backfill;
        push->after = next->number;
    }
    free(next);
    return offer->count;
}

static enum wp_status send_offer(struct wp_push *push)
{
    char url[WP_WIRE_TEXT + 64];
    push_url(push, "/api/v1/captures/offer", url);
    const char *headers[] = {push->authorization, "Content-Type: application/json", NULL};
    struct wp_http_request post = {
        .method = "POST",
        .url = url,
        .headers = headers,
        .body = push->offer_body.data,
        .size = push->offer_body.size,
    };
    return wp_http_send(push->options.http, &post, answered, push);
}

bool push_offer(struct wp_push *push)
{
    if (push->offer_busy || push->busy)
        return true;
    struct wp_wire_offer *offer = malloc(sizeof *offer);
    if (!offer)
        return false;
    bool worth = collect(push, offer) >= LEAST_WORTH;
    wp_bytes_init(&push->offer_body, OFFER_MOST);
    if (worth)
        worth = !wp_wire_offer_put(offer, &push->offer_body) && !send_offer(push);
    free(offer);
    push->offer_busy = worth;
    if (!worth) {
        wp_bytes_release(&push->offer_body);
        push->offering = false;
    }
    return worth;
}
