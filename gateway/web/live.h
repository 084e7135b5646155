/* live.h - live events as a stream (WHATWG HTML, server-sent events). Thread: the loop's. */
#ifndef LIVE_H
#define LIVE_H

struct wp_events;
struct wp_web;

struct wp_events *wp_events_new(struct wp_web *web);
/* Something was committed: look for news unless a look is under way, then once more. */
void wp_events_look(struct wp_events *events);
/* Once a second: pings every 15 s, access again every minute. */
void wp_events_tick(struct wp_events *events);
/* Ends every stream. */
void wp_events_end(struct wp_events *events);
/* True while a look is under way; the server waits for it when it stops. */
int wp_events_busy(const struct wp_events *events);
void wp_events_free(struct wp_events *events);

#endif
