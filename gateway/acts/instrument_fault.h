/* instrument_fault.h - the same remark on three turns running is the instrument's. Private to acts.
 *
 * Three turns one after the other, of different persons, whose newest spectra have the same remark
 * out of the table of wp_remark_of_instrument: one notice of kind 'instrument', to technicians and
 * the bench, and students are advised on that remark no more (views/instrument_fault.h). It is
 * settled by staff, or by a later turn whose spectrum has not got the remark.
 */
#ifndef ACTS_INSTRUMENT_FAULT_H
#define ACTS_INSTRUMENT_FAULT_H

#include "db/db.h"

/* To be called when a measurement has got its turn. Inside write jobs; database errors. */
enum wp_status wp_watch_instrument(struct wp_txn *txn, int64_t instrument, int64_t measurement);

#endif
