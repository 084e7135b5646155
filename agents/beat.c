#include "beat.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "backoff.h"
#include "base/clock.h"
#include "base/log.h"
#include "base/secret.h"
#include "reach.h"

#define MOST_EVENTS 200
#define MESSAGE_MOST (256 * 1024)
#define EVERY_S 30
#define SHORTEST_S 5
#define LONGEST_S 600
#define FIRST_MS 300
#define EVENTS_AGAIN_MS 15000
#define JUMP_US (2 * WP_SECOND)

struct wp_beat {
    struct wp_beat_options options;
    struct wp_beat_state state;
    uv_timer_t timer;
    uv_timer_t event_timer;
    uv_async_t wake;
    unsigned open_handles;
    int64_t every_s;
    int64_t sent_us;
    struct wp_backoff backoff;
    bool beating, telling;
    struct wp_bytes body, event_body;
    uv_mutex_t guard; /* of the events and of state.recent */
    struct wp_wire_event *events;
    size_t count, dropped, told;
    int64_t wall_us, steady_us; /* both clocks when last compared */
    char *authorization;
};

static void log_change(struct wp_beat *beat, bool reached, const char *why)
{
    if (reached && !beat->state.reached)
        wp_log(WP_LOG_INFO, "agent", "the gateway answers");
    if (!reached && (beat->state.reached || strcmp(beat->state.text, why) != 0))
        wp_log(WP_LOG_WARN, "agent", "the gateway is not reached: %s", why);
    beat->state.reached = reached;
    (void)snprintf(beat->state.text, sizeof beat->state.text, "%s", why);
}

static enum wp_status post(struct wp_beat *beat, const char *path, const struct wp_bytes *body,
                           wp_http_done done)
{
    char url[WP_WIRE_TEXT + 64];
    (void)snprintf(url, sizeof url, "%s%s", beat->options.base, path);
    const char *headers[] = {beat->authorization, "Content-Type: application/json", NULL};
    struct wp_http_request request = {
        .method = "POST", .url = url, .headers = headers, .body = body->data, .size = body->size};
    return wp_http_send(beat->options.http, &request, done, beat);
}

static void heed(struct wp_beat *beat, const struct wp_wire_beaten *message)
{
    int64_t now = wp_clock_utc();
    beat->state.reached_us = now;
    beat->state.clock_ahead_us = (beat->sent_us + now) / 2 - message->time_us;
    beat->every_s = message->every_s < SHORTEST_S  ? SHORTEST_S
                    : message->every_s > LONGEST_S ? LONGEST_S
                                                   : message->every_s;
    if (message->paused != beat->state.paused)
        wp_log(WP_LOG_INFO, "agent",
               message->paused ? "paused by the gateway" : "no longer paused");
    beat->state.paused = message->paused;
    if (!message->ledger_ok && beat->state.ledger_ok)
        wp_log(WP_LOG_ERROR, "agent",
               "the gateway's ledger does not hold the entry that this agent witnessed: it was cut "
               "off or restored from an older copy");
    beat->state.ledger_ok = message->ledger_ok;
}

static void heartbeat(uv_timer_t *timer);

/* `asked_s`: what the gateway asked for, 0 if nothing. A gateway that is back is noticed sooner
 * than the next beat would. */
static void again(struct wp_beat *beat, long asked_s)
{
    uint64_t every_ms = (uint64_t)beat->every_s * 1000;
    if (!beat->state.reached) {
        uint64_t soon = wp_backoff_fail(&beat->backoff, asked_s, wp_random_below(UINT32_MAX));
        if (soon < every_ms || asked_s > 0) {
            (void)uv_timer_start(&beat->timer, heartbeat, soon, 0);
            return;
        }
    }
    /* A little off the beat, so that agents which started together spread. */
    uint64_t wait = every_ms - every_ms / 20 + wp_random_below((uint32_t)(every_ms / 10 + 1));
    (void)uv_timer_start(&beat->timer, heartbeat, wait, 0);
}

static void beaten(void *arg, const struct wp_http_answer *answer)
{
    struct wp_beat *beat = arg;
    struct wp_wire_beaten message;
    struct wp_error error;
    char why[WP_WIRE_TEXT] = "";
    bool good = !answer->status && answer->code == 200;
    beat->beating = false;
    beat->state.unwanted = !answer->status && answer->code == 401;
    if (good && wp_wire_beaten_get(answer->body, answer->size, &message, &error)) {
        good = false;
        (void)snprintf(why, sizeof why, "its answer was not understood: %s", error.text);
    } else if (!good) {
        wp_reach_explain(answer, why);
    }
    log_change(beat, good, why);
    if (good) {
        heed(beat, &message);
        wp_backoff_reset(&beat->backoff);
    }
    wp_bytes_release(&beat->body);
    again(beat, answer->retry_after_s);
    beat->options.changed(beat->options.arg);
}

/* The wall clock moved against the one that never jumps. */
static void compare_clocks(struct wp_beat *beat)
{
    char text[128];
    int64_t wall = wp_clock_utc();
    int64_t steady = wp_clock_steady();
    int64_t moved = (wall - beat->wall_us) - (steady - beat->steady_us);
    if (beat->wall_us && (moved > JUMP_US || moved < -JUMP_US)) {
        (void)snprintf(text, sizeof text,
                       "This PC's clock moved by %+" PRId64 " s, or the PC slept.",
                       moved / WP_SECOND);
        wp_log(WP_LOG_WARN, "agent", "%s", text);
        wp_beat_event(beat, WP_EVENT_CLOCK_JUMP, text);
    }
    beat->wall_us = wall;
    beat->steady_us = steady;
}

static void heartbeat(uv_timer_t *timer)
{
    struct wp_beat *beat = timer->data;
    struct wp_wire_heartbeat *message = calloc(1, sizeof *message);
    compare_clocks(beat);
    enum wp_status status = WP_NO_MEMORY;
    if (message) {
        (void)snprintf(message->version, sizeof message->version, "%s", WP_VERSION);
        beat->options.fill(beat->options.arg, message);
        beat->sent_us = message->time_us = wp_clock_utc();
        message->steady_us = wp_clock_steady();
        wp_clock_boot_id(message->boot_id);
        wp_bytes_init(&beat->body, MESSAGE_MOST);
        status = wp_wire_heartbeat_put(message, &beat->body);
        if (!status)
            status = post(beat, "/api/v1/agents/heartbeat", &beat->body, beaten);
    }
    free(message);
    beat->beating = !status;
    if (status) {
        log_change(beat, false, "a heartbeat could not be sent");
        wp_bytes_release(&beat->body);
        again(beat, 0);
    }
}

static void tell(uv_timer_t *timer);

static void told(void *arg, const struct wp_http_answer *answer)
{
    struct wp_beat *beat = arg;
    bool good = !answer->status && answer->code < 300;
    bool useless = !answer->status && answer->code >= 400 && answer->code < 500 &&
                   answer->code != 401 && answer->code != 408 && answer->code != 429;
    beat->telling = false;
    wp_bytes_release(&beat->event_body);
    uv_mutex_lock(&beat->guard);
    if (good || useless) {
        size_t gone = beat->told < beat->count ? beat->told : beat->count;
        beat->count -= gone;
        memmove(beat->events, beat->events + gone, beat->count * sizeof *beat->events);
    }
    bool more = beat->count > 0;
    if (!more) {
        free(beat->events);
        beat->events = NULL;
    }
    uv_mutex_unlock(&beat->guard);
    if (useless)
        wp_log(WP_LOG_WARN, "agent", "the gateway does not want events: answer %ld", answer->code);
    if (more)
        (void)uv_timer_start(&beat->event_timer, tell, good ? 0 : EVENTS_AGAIN_MS, 0);
}

static struct wp_wire_events *collect(struct wp_beat *beat)
{
    struct wp_wire_events *message = calloc(1, sizeof *message);
    if (!message)
        return NULL;
    uv_mutex_lock(&beat->guard);
    message->count = beat->count < WP_WIRE_EVENTS ? beat->count : WP_WIRE_EVENTS;
    if (message->count)
        memcpy(message->events, beat->events, message->count * sizeof *beat->events);
    beat->told = message->count;
    if (beat->dropped)
        wp_log(WP_LOG_WARN, "agent", "%zu events were too many to keep", beat->dropped);
    beat->dropped = 0;
    uv_mutex_unlock(&beat->guard);
    return message;
}

static void tell(uv_timer_t *timer)
{
    struct wp_beat *beat = timer->data;
    if (beat->telling)
        return;
    struct wp_wire_events *message = collect(beat);
    if (!message)
        return;
    wp_bytes_init(&beat->event_body, MESSAGE_MOST);
    beat->telling = message->count && !wp_wire_events_put(message, &beat->event_body) &&
                    !post(beat, "/api/v1/agents/events", &beat->event_body, told);
    if (!beat->telling)
        wp_bytes_release(&beat->event_body);
    free(message);
}

static void woken(uv_async_t *async)
{
    struct wp_beat *beat = async->data;
    if (!beat->telling && !uv_is_active((uv_handle_t *)&beat->event_timer))
        (void)uv_timer_start(&beat->event_timer, tell, 20, 0);
    beat->options.changed(beat->options.arg);
}

static void remember(struct wp_beat *beat, const struct wp_wire_event *event)
{
    struct wp_beat_state *state = &beat->state;
    if (state->recent_count == WP_BEAT_RECENT) {
        state->recent_count--;
        memmove(state->recent, state->recent + 1, state->recent_count * sizeof *state->recent);
    }
    state->recent[state->recent_count++] = *event;
}

void wp_beat_event(struct wp_beat *beat, enum wp_wire_event_kind kind, const char *text)
{
    struct wp_wire_event event = {.kind = kind, .at_us = wp_clock_utc()};
    wp_text_clean(text, strlen(text), event.text, sizeof event.text);
    uv_mutex_lock(&beat->guard);
    remember(beat, &event);
    if (!beat->events)
        beat->events = malloc(MOST_EVENTS * sizeof *beat->events);
    if (!beat->events || beat->count == MOST_EVENTS)
        beat->dropped++;
    else
        beat->events[beat->count++] = event;
    uv_mutex_unlock(&beat->guard);
    (void)uv_async_send(&beat->wake);
}

void wp_beat_state(struct wp_beat *beat, struct wp_beat_state *state)
{
    uv_mutex_lock(&beat->guard);
    *state = beat->state;
    uv_mutex_unlock(&beat->guard);
}

struct wp_beat *wp_beat_new(const struct wp_beat_options *options, bool paused)
{
    struct wp_beat *beat = calloc(1, sizeof *beat);
    size_t room = strlen(options->token) + 32;
    if (!beat)
        return NULL;
    beat->options = *options;
    beat->every_s = EVERY_S;
    beat->state.ledger_ok = true;
    beat->state.paused = paused;
    beat->authorization = malloc(room);
    if (!beat->authorization || uv_mutex_init(&beat->guard)) {
        free(beat->authorization);
        free(beat);
        return NULL;
    }
    (void)snprintf(beat->authorization, room, "Authorization: Bearer %s", options->token);
    beat->timer.data = beat->event_timer.data = beat->wake.data = beat;
    (void)uv_timer_init(options->loop, &beat->timer);
    (void)uv_timer_init(options->loop, &beat->event_timer);
    (void)uv_async_init(options->loop, &beat->wake, woken);
    beat->open_handles = 3;
    (void)uv_timer_start(&beat->timer, heartbeat, FIRST_MS / 2 + wp_random_below(FIRST_MS), 0);
    return beat;
}

static void closed(uv_handle_t *handle)
{
    struct wp_beat *beat = handle->data;
    if (--beat->open_handles)
        return;
    wp_bytes_release(&beat->body);
    wp_bytes_release(&beat->event_body);
    uv_mutex_destroy(&beat->guard);
    free(beat->events);
    free(beat->authorization);
    free(beat);
}

void wp_beat_free(struct wp_beat *beat)
{
    if (!beat)
        return;
    uv_close((uv_handle_t *)&beat->timer, closed);
    uv_close((uv_handle_t *)&beat->event_timer, closed);
    uv_close((uv_handle_t *)&beat->wake, closed);
}
