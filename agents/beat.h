/* beat.h - tells the gateway how the agent is, and at once what the bench should hear of.
 *
 * Thread: wp_beat_event from any; the rest from the loop's.
 */
#ifndef AGENT_BEAT_H
#define AGENT_BEAT_H

#include <uv.h>

#include "base/http.h"
#include "wire/messages.h"

struct wp_beat;

struct wp_beat_options {
    uv_loop_t *loop;
    struct wp_http *http;
    const char *base;
    const char *token; /* both outlive the beat */
    void *arg;
    /* Fills in what the beat does not know: queue, spool, folders, ledger, refused. */
    void (*fill)(void *arg, struct wp_wire_heartbeat *message);
    /* After each answer or failure. */
    void (*changed)(void *arg);
};

#define WP_BEAT_RECENT 10

struct wp_beat_state {
    bool reached;
    bool unwanted;
    char text[WP_WIRE_TEXT]; /* why it was not reached */
    int64_t reached_us;      /* wall clock of the last answer; 0: none yet */
    int64_t clock_ahead_us;  /* our clock less the gateway's, at the middle of the exchange */
    bool paused;
    bool ledger_ok;
    size_t recent_count; /* the newest events, oldest first, for `status` */
    struct wp_wire_event recent[WP_BEAT_RECENT];
};

struct wp_beat *wp_beat_new(const struct wp_beat_options *options, bool paused);
/* Queues an event: at most 200 wait; past that the oldest go and their number is told. */
void wp_beat_event(struct wp_beat *beat, enum wp_wire_event_kind kind, const char *text);
/* A copy, for it changes under other threads. */
void wp_beat_state(struct wp_beat *beat, struct wp_beat_state *state);
/* The http client must have been freed before. */
void wp_beat_free(struct wp_beat *beat);

#endif
