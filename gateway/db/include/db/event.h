/* db/event.h - numbered events for live pages, written in the transaction that causes them.
 *
 * A topic says who may listen: "instrument:7" (its bench, staff), "person:42" (that person),
 * "section:3" (its staff), "fleet" (technicians, administrators), "staff" (all staff). The body is
 * a small JSON object; it holds ids and words for the page, no secrets. The newest WP_EVENTS_KEPT
 * stay; a page that was away longer reloads.
 */
#ifndef DB_EVENT_H
#define DB_EVENT_H

#include "db/db.h"

#define WP_EVENTS_KEPT 20000

/* Appends an event under the topic `kind:id` (or `kind` alone if id is 0). */
enum wp_status wp_event_add(struct wp_txn *txn, const char *kind, int64_t id, const char *body);

/* The same with a formatted body; only ids and literals may be put into it. */
enum wp_status wp_event_addf(struct wp_txn *txn, const char *kind, int64_t id, const char *format,
                             ...) __attribute__((format(printf, 4, 5)));

#endif
