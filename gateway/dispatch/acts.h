/* dispatch/acts.h - shared by acts and views. Private to dispatch. */
#ifndef DISPATCH_ACTS_H
#define DISPATCH_ACTS_H

#include "delivery.h"

/* True for those who look after other people's sheets. */
bool wp_is_staff(const struct wp_who *who);

/* True for those whom no section bounds. */
bool wp_is_site_staff(const struct wp_who *who);

/* SQL: the delivery's measurement is of a section that person ?3 looks after, or of none. */
#define WP_DELIVERY_IS_THEIRS                                                                      \
    "NOT EXISTS (SELECT 1 FROM measurement m WHERE m.id = delivery.measurement_id AND "            \
    "m.section_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM section_staff t WHERE "                \
    "t.section_id = m.section_id AND t.person_id = ?3 AND t.roles & 6 <> 0))"

/* Parameter 0 as an id, or WP_INVALID. */
enum wp_status wp_ask_id(const struct wp_ask *ask, int64_t *id, struct wp_error *error);

/* The row as the lists show it. WP_NOT_FOUND. */
enum wp_status wp_printer_json(struct wp_sql *sql, int64_t id, cJSON **out, struct wp_error *error);
enum wp_status wp_delivery_json(struct wp_sql *sql, int64_t id, bool events, cJSON **out,
                                struct wp_error *error);

/* WP_OK if who asks may see and change this delivery: its section's staff, its person, or its
 * instrument's bench. WP_NOT_FOUND otherwise, as if it did not exist. `state` may be NULL. */
enum wp_status wp_delivery_allowed(struct wp_sql *sql, const struct wp_ask *ask, int64_t id,
                                   enum wp_delivery_state *state, struct wp_error *error);

#endif
