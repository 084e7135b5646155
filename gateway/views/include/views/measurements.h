/* views/measurements.h - measurements as JSON: one, a person's, what nobody has claimed.
 *
 * Shapes: schema/openapi.yaml. Markers get no names. Inside read or write jobs.
 */
#ifndef VIEWS_MEASUREMENTS_H
#define VIEWS_MEASUREMENTS_H

#include "people/access.h"

#define WP_VIEW(name)                                                                              \
    enum wp_status name(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,                 \
                        struct wp_error *error)

/* One measurement as lists show it. WP_NOT_FOUND. */
enum wp_status wp_measurement_json(struct wp_sql *sql, const struct wp_who *who, int64_t id,
                                   cJSON **out);

/* WP_OK if `who` may have an object by its digest: one of the measurements read from it is of a
 * section that they teach, or none is of any section. WP_NOT_FOUND otherwise, and for an object
 * there is not. */
enum wp_status wp_view_object_seen(struct wp_sql *sql, const struct wp_who *who,
                                   const unsigned char digest[32]);

WP_VIEW(wp_view_measurement); /* parameter 0: all about it, with history and deliveries */
WP_VIEW(wp_view_inbox);       /* the asking person's; query: before, q */
WP_VIEW(wp_view_find);        /* query: accession */
WP_VIEW(wp_view_unclaimed);   /* newest first; demonstrators: today's */
WP_VIEW(wp_view_notices);
WP_VIEW(wp_view_unread);

#endif
