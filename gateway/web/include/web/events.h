/* web/events.h - what live pages may follow.
 *
 * `GET /api/v1/events?topics=section:12,instrument:3` streams the rows of table `event` whose topic
 * is asked for (server-sent events, WHATWG HTML, 9.2): `id` is the event's number and `data` is
 * {"topic":"section:12","at_us":0,"body":{...}}. A client that comes back with Last-Event-ID (or
 * ?after=NUMBER) gets what it missed. A ping goes out every 15 s. Each topic has roles and a scope
 * as a route has; they are checked at the start and every minute.
 */
#ifndef WEB_EVENTS_H
#define WEB_EVENTS_H

#include <stdbool.h>
#include <stddef.h>

#include "people/access.h"

struct wp_topic {
    const char *name; /* before the colon: "section" */
    unsigned roles;
    enum wp_scope scope; /* WP_SCOPE_ANY: the topic has no id */
    const char *summary;
};
extern const struct wp_topic wp_topics[];
extern const size_t wp_topic_count;

/* The row for "section:12" or "fleet"; `*id` points to the digits, or is NULL. NULL: no such
 * topic. */
const struct wp_topic *wp_topic_find(const char *topic, const char **id);

#endif
