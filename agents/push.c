#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "base/secret.h"
#include "platform.h"
#include "push_parts.h"
#include "reach.h"

#define NUMBER_TAKEN 409
#define BODY_MOST (1024L * 1024 * 1024)
#define UNWANTED_AGAIN_S 60
#define SLOWEST_BYTES_PER_MS 16 /* 16 KB/s: below that a request is given up */

void push_url(const struct wp_push *push, const char *path, char out[WP_WIRE_TEXT + 64])
{
    (void)snprintf(out, WP_WIRE_TEXT + 64, "%s%s", push->options.base, path);
}

static void set_state(struct wp_push *push, bool reached, const char *text)
{
    bool differs = push->state.reached != reached || strcmp(push->state.text, text) != 0;
    push->state.reached = reached;
    (void)snprintf(push->state.text, sizeof push->state.text, "%s", text);
    if (differs)
        push->options.changed(push->options.arg);
}

static void time_to_try(uv_timer_t *timer)
{
    struct wp_push *push = timer->data;
    push->waiting = false;
    push->state.retry_us = 0;
    wp_push_kick(push);
}

void push_again(struct wp_push *push, long asked_s, const char *why)
{
    uint32_t chance = 0;
    if (push->state.reached || !push->backoff.failures)
        wp_log(WP_LOG_WARN, "agent", "the gateway does not take captures: %s", why);
    push->proven = false;
    push_offer_all(push);
    set_state(push, false, why);
    if (push->waiting && asked_s <= 0)
        return;
    wp_random(&chance, sizeof chance);
    uint64_t wait = wp_backoff_fail(&push->backoff, asked_s, chance);
    push->waiting = true;
    push->state.retry_us = wp_clock_steady() + (int64_t)wait * 1000;
    (void)uv_timer_start(&push->timer, time_to_try, wait, 0);
}

void push_worked(struct wp_push *push)
{
    if (!push->state.reached && push->backoff.failures)
        wp_log(WP_LOG_INFO, "agent", "the gateway takes captures again");
    wp_backoff_reset(&push->backoff);
    push->proven = true;
    push->state.unwanted = false;
    set_state(push, true, "");
}

bool push_judge(struct wp_push *push, const struct wp_http_answer *answer, bool *refused)
{
    char why[WP_WIRE_TEXT];
    long code = answer->code;
    *refused = false;
    if (answer->status) {
        wp_reach_why(answer, why);
        push_again(push, 0, why);
        return false;
    }
    if (code >= 200 && code < 300)
        return true;
    wp_reach_explain(answer, why);
    if (code == 401) {
        push->state.unwanted = true;
        wp_log(WP_LOG_ERROR, "agent", "the gateway refuses this agent's token; join again");
        push_again(push, answer->retry_after_s > 0 ? answer->retry_after_s : UNWANTED_AGAIN_S, why);
    } else if (code >= 400 && code < 500 && code != 408 && code != 425 && code != 429) {
        *refused = true;
        push_worked(push);
    } else {
        push_again(push, answer->retry_after_s, why);
    }
    return false;
}

bool push_receipt(struct wp_push *push, const struct wp_wire_receipt *receipt)
{
    if (receipt->ledger.number >= push->state.ledger.number)
        push->state.ledger = receipt->ledger;
    enum wp_status status = wp_spool_receipt(push->options.spool, receipt->number, receipt->receipt,
                                             push->state.ledger.number, push->state.ledger.hash);
    if (status == WP_BROKEN)
        push->options.broken(push->options.arg, wp_spool_message(push->options.spool));
    else if (status && status != WP_NOT_FOUND)
        push_again(push, 0, "a receipt could not be kept; the state folder's disk is full or busy");
    return !status || status == WP_NOT_FOUND;
}

static void refuse(struct wp_push *push, const struct lane *lane,
                   const struct wp_http_answer *answer)
{
    char why[WP_WIRE_TEXT];
    wp_reach_explain(answer, why);
    wp_log(WP_LOG_ERROR, "agent", "capture %" PRId64 " is refused for good: %s", lane->number, why);
    if (wp_spool_refuse(push->options.spool, lane->number, why) == WP_BROKEN)
        push->options.broken(push->options.arg, wp_spool_message(push->options.spool));
    push->options.changed(push->options.arg);
}

/* Nothing is lost that way: had these bytes this number, the answer would have been their receipt.
 */
static void renumber(struct wp_push *push, const struct lane *lane)
{
    wp_log(WP_LOG_WARN, "agent",
           "capture %" PRId64
           " has a number that other bytes have at the gateway: this state folder "
           "is an older copy; it is sent under a new number",
           lane->number);
    enum wp_status status = wp_spool_renumber(push->options.spool, lane->number);
    if (status == WP_BROKEN)
        push->options.broken(push->options.arg, wp_spool_message(push->options.spool));
    else if (status && status != WP_NOT_FOUND)
        push_again(push, 0,
                   "a capture could not be given another number; the disk is full or busy");
    else /* not at once: a gateway that always says so must not be asked without end */
        push_again(push, 1, "the number of a capture was taken; it is sent under another");
    push->options.changed(push->options.arg);
}

static void take_receipt(struct wp_push *push, const struct lane *lane,
                         const struct wp_http_answer *answer)
{
    struct wp_wire_receipt receipt;
    struct wp_error error;
    char digest[WP_WIRE_HASH];
    wp_hex_encode(lane->sha256, sizeof lane->sha256, digest);
    if (wp_wire_receipt_get(answer->body, answer->size, &receipt, &error))
        push_again(push, 0, error.text);
    else if (receipt.number != lane->number || strcmp(receipt.sha256, digest) != 0)
        push_again(push, 0, "the receipt is for something else");
    else if (push_receipt(push, &receipt))
        push_worked(push);
}

static void sent(void *arg, const struct wp_http_answer *answer)
{
    struct lane *lane = arg;
    struct wp_push *push = lane->push;
    bool refused = false;
    if (push_judge(push, answer, &refused))
        take_receipt(push, lane, answer);
    else if (refused && answer->code == NUMBER_TAKEN)
        renumber(push, lane);
    else if (refused)
        refuse(push, lane, answer);
    lane->busy = false;
    push->busy--;
    wp_bytes_release(&lane->body);
    wp_push_kick(push);
}

void push_describe(const struct wp_spool_capture *capture, struct wp_wire_capture *message)
{
    *message = (struct wp_wire_capture){
        .number = capture->number,
        .mtime_us = capture->look.mtime_ns / 1000,
        .captured_us = capture->captured_us,
        .steady_us = capture->steady_us,
        .backfill = capture->backfill,
    };
    wp_wire_path(capture->path, strlen(capture->path), WP_WIRE_PATH - 1, message->path);
    (void)snprintf(message->boot_id, sizeof message->boot_id, "%s", capture->boot_id);
}

static enum wp_status request(struct wp_push *push, struct lane *lane,
                              const struct wp_spool_capture *capture)
{
    struct wp_wire_capture message;
    char url[WP_WIRE_TEXT + 64];
    char digest[WP_CONTENT_DIGEST_ROOM];
    char digest_line[WP_CONTENT_DIGEST_ROOM + 32];
    char field[WP_WIRE_FIELD];
    char field_line[WP_WIRE_FIELD + 32];
    push_describe(capture, &message);
    enum wp_status status = wp_wire_capture_field_put(&message, field);
    if (status)
        return status;
    wp_content_digest_format(capture->sha256, digest);
    (void)snprintf(digest_line, sizeof digest_line, "Content-Digest: %s", digest);
    (void)snprintf(field_line, sizeof field_line, "Wavepost-Capture: %s", field);
    push_url(push, "/api/v1/captures", url);
    const char *headers[] = {push->authorization, "Content-Type: application/octet-stream",
                             digest_line, field_line, NULL};
    struct wp_http_request post = {
        .method = "POST",
        .url = url,
        .headers = headers,
        .body = lane->body.data,
        .size = lane->body.size,
        .timeout_ms = 30000 + (unsigned)(lane->body.size / SLOWEST_BYTES_PER_MS),
    };
    return wp_http_send(push->options.http, &post, sent, lane);
}

static void start(struct wp_push *push, struct lane *lane, const struct wp_spool_capture *capture)
{
    wp_bytes_init(&lane->body, BODY_MOST);
    enum wp_status status = wp_spool_bytes(push->options.spool, capture->number, &lane->body);
    lane->number = capture->number;
    lane->size = capture->size;
    memcpy(lane->sha256, capture->sha256, sizeof lane->sha256);
    if (!status)
        status = request(push, lane, capture);
    if (!status) {
        lane->busy = true;
        push->busy++;
        return;
    }
    wp_bytes_release(&lane->body);
    if (status == WP_BROKEN)
        push->options.broken(push->options.arg, wp_spool_message(push->options.spool));
    else
        push_again(push, 0, "a capture could not be read from the spool or sent");
}

static bool under_way(const struct wp_push *push, int64_t number)
{
    for (size_t i = 0; i < LANES; i++)
        if (push->lanes[i].busy && push->lanes[i].number == number)
            return true;
    return false;
}

static struct lane *free_lane(struct wp_push *push, int64_t size)
{
    int64_t bytes = size;
    for (size_t i = 0; i < LANES; i++)
        bytes += push->lanes[i].busy ? push->lanes[i].size : 0;
    if (push->busy && (!push->proven || bytes > BYTES_AT_ONCE))
        return NULL;
    for (size_t i = 0; i < LANES; i++)
        if (!push->lanes[i].busy)
            return &push->lanes[i];
    return NULL;
}

void wp_push_kick(struct wp_push *push)
{
    struct wp_spool_capture *next = calloc(1, sizeof *next);
    bool going = next && !push->waiting;
    while (going && !push->waiting && wp_spool_next_waiting(push->options.spool, next)) {
        if (under_way(push, next->number))
            continue;
        if (!push_offered(push, next) && push_offer(push))
            break;
        struct lane *lane = free_lane(push, next->size);
        if (!lane)
            break;
        start(push, lane, next);
    }
    if (going && !push->busy)
        wp_platform_tidy();
    free(next);
}

const struct wp_push_state *wp_push_state(const struct wp_push *push)
{
    return &push->state;
}

struct wp_push *wp_push_new(const struct wp_push_options *options)
{
    char ledger[128];
    struct wp_push *push = calloc(1, sizeof *push);
    if (!push)
        return NULL;
    push->options = *options;
    for (size_t i = 0; i < LANES; i++)
        push->lanes[i].push = push;
    size_t room = strlen(options->token) + 32;
    push->authorization = malloc(room);
    if (!push->authorization || uv_timer_init(options->loop, &push->timer)) {
        free(push->authorization);
        free(push);
        return NULL;
    }
    (void)snprintf(push->authorization, room, "Authorization: Bearer %s", options->token);
    push->timer.data = push;
    (void)snprintf(push->state.ledger.hash, WP_WIRE_HASH, "%064d", 0);
    wp_spool_text(options->spool, "ledger", ledger, sizeof ledger);
    (void)sscanf(ledger, "%" SCNd64 " %64[0-9a-fA-F]", &push->state.ledger.number,
                 push->state.ledger.hash);
    push_offer_all(push);
    return push;
}

static void freed(uv_handle_t *handle)
{
    struct wp_push *push = handle->data;
    wp_bytes_release(&push->offer_body);
    free(push->authorization);
    free(push);
}

void wp_push_free(struct wp_push *push)
{
    if (push)
        uv_close((uv_handle_t *)&push->timer, freed);
}
