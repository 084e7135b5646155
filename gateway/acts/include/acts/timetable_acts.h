/* acts/timetable_acts.h - terms, weekly meetings, single meetings, enrolments one by one.
 *
 * All are wp_act_fn (see people/ask.h); what bodies hold is told in people/timetable.h. Every one
 * writes a ledger entry and tells the pages of staff.
 */
#ifndef ACTS_TIMETABLE_ACTS_H
#define ACTS_TIMETABLE_ACTS_H

#include "acts/fleet_acts.h"

WP_ACT(wp_act_term_put);
WP_ACT(wp_act_term_remove);    /* parameter 0 */
WP_ACT(wp_act_weekly_add);     /* answers id and the number of meetings to come */
WP_ACT(wp_act_weekly_change);  /* parameter 0 */
WP_ACT(wp_act_weekly_end);     /* parameter 0 */
WP_ACT(wp_act_weekly_except);  /* answers `changed` */
WP_ACT(wp_act_meeting_add);    /* body: course, section, place; day with local starts and ends, or
                                  instants */
WP_ACT(wp_act_meeting_remove); /* parameter 0 */

/* Body: course, section, login; `number`; `left` ends it; `move_to` is another section of the
 * course. What was measured stays where and whose it was. */
WP_ACT(wp_act_enrol);

#endif
