/* views/timetable.h - terms, weekly meetings, meetings to come, rosters, for set-up pages and the
 * command line. Shapes: schema/openapi.yaml. Read jobs.
 */
#ifndef VIEWS_TIMETABLE_H
#define VIEWS_TIMETABLE_H

#include "views/measurements.h"

WP_VIEW(wp_view_terms);
WP_VIEW(wp_view_timetable); /* query: course and section, or neither */
WP_VIEW(wp_view_roster);    /* parameter 0: section; those who left as well */

#endif
