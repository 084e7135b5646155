/* reconsider.h - stamping once more what was measured before the gateway heard of a change of
 * turns. Private to acts. */
#ifndef ACTS_RECONSIDER_H
#define ACTS_RECONSIDER_H

#include "people/turns.h"

/* A turn that is heard of late, and that another one has followed already, is closed where that one
 * began. `turn->opened_us` is set, `turn->closed_us` is filled. */
enum wp_status wp_turn_later(struct wp_txn *txn, struct wp_turn *turn);

/* Applies the stamping rule again to what was measured on the instrument since shortly before
 * `from` and was stamped by the rule alone; nobody's answer, claim or assignment is touched, nor
 * what the file's name or the PC's clock left in doubt. Each change is a revision. At most 256. */
enum wp_status wp_reconsider(struct wp_txn *txn, int64_t instrument, int64_t from);

#endif
