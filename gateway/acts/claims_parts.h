/* claims_parts.h - what claims, assignments and turns entered afterwards share. Private to acts. */
#ifndef ACTS_CLAIMS_PARTS_H
#define ACTS_CLAIMS_PARTS_H

#include "archive/record.h"

/* Live events that a measurement has a new stamp. */
enum wp_status claims_tell(struct wp_txn *txn, int64_t measurement, const struct wp_stamp *stamp);

/* A section's staff assign within the sections they look after, to people of their rosters; who
 * left one keeps what is theirs. WP_DENIED, WP_INVALID. */
enum wp_status claims_check_staff(struct wp_txn *txn, const struct wp_ask *ask, int64_t section,
                                  const int64_t *persons, size_t count, struct wp_error *error);

#endif
