/* guests.h - a visitor's label and spectra live for 30 days. Private to acts.
 *
 * What nobody has claimed by then is removed for good, as a private file is (archive/removal.h):
 * the number answers that it was removed, and why. What somebody claimed stays theirs without the
 * label.
 */
#ifndef ACTS_GUESTS_H
#define ACTS_GUESTS_H

#include "base/clock.h"
#include "db/db.h"

#define WP_GUEST_LIFE (30 * WP_DAY)

/* Removes a few that are due. Inside write jobs, every few seconds. Database errors. */
enum wp_status wp_guests_leave(struct wp_txn *txn);

#endif
