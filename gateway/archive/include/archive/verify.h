/* archive/verify.h - is everything still there, and is it what it was?
 *
 * Re-hashes every object, staged or stored; checks that captures, objects, renditions, measurements
 * and stamps refer to each other both ways; walks the ledger and compares it with every receipt and
 * with what the agents last witnessed; and looks for stored files that no record names.
 *
 * It only reads, a page at a time, and may run beside a gateway at work.
 *
 * Thread: the connection's.
 */
#ifndef ARCHIVE_VERIFY_H
#define ARCHIVE_VERIFY_H

#include "db/db.h"
#include "store/store.h"

struct wp_verify_counts {
    int64_t objects; /* removed ones included: their mark is sound when nothing else is left */
    int64_t removed;
    int64_t measurements;
    int64_t faults;
};

struct wp_verify_watch {
    /* One fault: one line without a line break, naming what is wrong by its id or digest. */
    void (*fault)(void *arg, const char *line);
    /* After each page of objects: how many of how many. May be NULL. */
    void (*progress)(void *arg, int64_t done, int64_t total);
    void *arg;
};

/* WP_OK when everything could be looked at, whatever was found: see `counts->faults`. Otherwise the
 * error that ended it: WP_NO_MEMORY, WP_IO (the store cannot be listed), database errors. The
 * connection must not be inside a transaction. */
enum wp_status wp_verify(struct wp_sql *sql, struct wp_store *store,
                         const struct wp_verify_watch *watch, struct wp_verify_counts *counts,
                         struct wp_error *error);

#endif
