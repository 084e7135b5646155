/* tell.h - live events about one measurement, to everybody whose page shows it. Private to acts. */
#ifndef ACTS_TELL_H
#define ACTS_TELL_H

#include "people/turns.h"

/* To the instrument's bench, the section's grid and the persons' inboxes, as the measurement is
 * stamped now. `kind` is a word of our own ("measurement", "kept", "stamped"). */
enum wp_status wp_tell_measurement(struct wp_txn *txn, int64_t instrument, const char *kind,
                                   int64_t measurement);

#endif
