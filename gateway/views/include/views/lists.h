/* views/lists.h - sections, grids, the fleet, and the lists that set-up pages show.
 *
 * Shapes: schema/openapi.yaml. Read jobs.
 */
#ifndef VIEWS_LISTS_H
#define VIEWS_LISTS_H

#include "views/measurements.h"

WP_VIEW(wp_view_me);
WP_VIEW(wp_view_sessions);
WP_VIEW(wp_view_sections); /* those the asking person staffs or is enrolled in; all for the site's
                              staff */
WP_VIEW(wp_view_grid);     /* parameter 0: students x experiments */
WP_VIEW(wp_view_fleet);
WP_VIEW(wp_view_instruments);
WP_VIEW(wp_view_people);     /* query: q */
WP_VIEW(wp_view_courses);    /* with sections, experiments and meetings to come */
WP_VIEW(wp_view_ledger);     /* query: before */
WP_VIEW(wp_view_deliveries); /* as wp_delivery_view_list, each with `accession` and `sample` */

#endif
