/* identify.h - persons who show a card, a PIN, a number or a pass. Private to acts. */
#ifndef ACTS_IDENTIFY_H
#define ACTS_IDENTIFY_H

#include "people/cards.h"
#include "people/turns.h"

/* Adds to the turn whoever "pass" (of this instrument) or "card" of the body names, each one text
 * or a list, sets its source to how the first of them was shown, and its section if none is said.
 * Nothing where neither is there. WP_INVALID says what is wrong. */
enum wp_status wp_turn_shown(struct wp_txn *txn, const struct wp_ask *ask, struct wp_turn *turn,
                             struct wp_error *error);

#endif
