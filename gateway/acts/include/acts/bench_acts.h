/* acts/bench_acts.h - what happens at the bench, and what people do with their measurements.
 *
 * All are wp_act_fn (see people/ask.h). Those of the bench answer with the bench's state
 * (views/bench.h), so that the page shows the outcome at once.
 */
#ifndef ACTS_BENCH_ACTS_H
#define ACTS_BENCH_ACTS_H

#include "acts/fleet_acts.h"

WP_ACT(wp_act_sign_on); /* parameter 0: instrument */
WP_ACT(wp_act_keep);    /* body: measurement, print */
WP_ACT(wp_act_again);   /* body: measurement */
WP_ACT(wp_act_answer);  /* body: measurement, same | persons | nobody */
WP_ACT(wp_act_done);
WP_ACT(wp_act_plates_out); /* a plate is cloudy or broken */

WP_ACT(wp_act_identify);   /* body: card; who shows this card, PIN or number, and their defaults */
WP_ACT(wp_act_join);       /* body: persons | pass | card; they join the open turn */
WP_ACT(wp_act_still);      /* "still me": the open turn goes on */
WP_ACT(wp_act_wait);       /* body: persons | pass | card; they stand in the waiting list */
WP_ACT(wp_act_leave_list); /* body: person */

WP_ACT(wp_act_card);          /* one's own card; body: anew */
WP_ACT(wp_act_pin);           /* one's own PIN; body: pin, "" takes it away */
WP_ACT(wp_act_section_cards); /* parameter 0: section; a card for each who has none */
WP_ACT(wp_act_card_void);     /* parameter 0: person; a lost card, and the PIN */

WP_ACT(wp_act_claim);         /* body: code; a signed-in student, or a bench with `person` */
WP_ACT(wp_act_counts);        /* parameter 0: measurement; this one for the report */
WP_ACT(wp_act_print);         /* parameter 0 */
WP_ACT(wp_act_mail);          /* parameter 0; to the asking person */
WP_ACT(wp_act_stamp);         /* parameter 0; staff */
WP_ACT(wp_act_turn_add);      /* staff: a turn entered afterwards; restamps */
WP_ACT(wp_act_notice_settle); /* parameter 0 */

/* Keeps what nobody touched for the site's open_us, and does what is due around classes; the job is
 * not used. A write job that main runs from time to time. */
enum wp_status wp_act_sweep(struct wp_txn *txn, void *job);

#endif
