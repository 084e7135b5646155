/* archive/mover.h - takes staged objects into the object store, in batches with one sync.
 *
 * A thread of its own reads up to 256 objects or 16 MiB from table `staged`, checks each against
 * its digest, puts them into the store, syncs once, and only then lets go of the copies and marks
 * the objects 'stored', in one write job. Stopped or killed at any point it starts over: what was
 * put is found again, what was not let go of is still staged. An object whose staged bytes are not
 * those of its digest is marked 'damaged', stays staged, and is logged; `verify` reports it.
 *
 * When the store is full or refuses, it tries again every five seconds and says so once a minute.
 * When a sync of the store fails, the database is made to stop (its `broken` callback).
 *
 * Thread: start, stop and count on one thread; kick on any.
 */
#ifndef ARCHIVE_MOVER_H
#define ARCHIVE_MOVER_H

#include "db/db.h"
#include "store/store.h"

struct wp_mover;

/* Starts moving; the database has been started, and both outlive the mover. WP_NO_MEMORY, errors of
 * wp_db_reader. */
enum wp_status wp_mover_start(struct wp_db *db, struct wp_store *store, struct wp_mover **mover,
                              struct wp_error *error);

/* Something was staged: move it soon (at most five batches a second are started for kicks). */
void wp_mover_kick(struct wp_mover *mover);

struct wp_mover_counts {
    uint64_t objects; /* moved since the start */
    uint64_t batches;
    uint64_t damaged; /* found damaged since the start */
};
void wp_mover_count(struct wp_mover *mover, struct wp_mover_counts *counts);

/* Finishes the batch at hand, joins, frees. Before wp_db_close. NULL is harmless. */
void wp_mover_stop(struct wp_mover *mover);

#endif
