/* people/waiting.h - who waits for an instrument.
 *
 * Whoever shows a card while another's turn is open is noted; whoever asks for it stands in the
 * list. Nobody has to: people stand in line. All of it ends with the class, or after WP_WAIT_MOST
 * where none is timetabled.
 *
 * Inside read and write jobs.
 */
#ifndef PEOPLE_WAITING_H
#define PEOPLE_WAITING_H

#include "base/clock.h"
#include "db/db.h"

/* A list is offered when more than this many are known to wait. Common practice, no source. */
#define WP_WAIT_OFFERED 6
#define WP_WAIT_MOST (2 * WP_HOUR)

/* Notes that a person waits; `listed`: they asked to stand in the list. Their place stays where it
 * was if they wait already. */
enum wp_status wp_wait_note(struct wp_txn *txn, int64_t instrument, int64_t person, bool listed);

/* Ends a person's waiting at one instrument, or (0) at all. */
enum wp_status wp_wait_end(struct wp_txn *txn, int64_t instrument, int64_t person);

#endif
