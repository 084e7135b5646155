/* spool_parts.h - what the spool's files share: the connection and its lock. */
#ifndef SPOOL_PARTS_H
#define SPOOL_PARTS_H

#include <uv.h>

#include "base/sql.h"
#include "spool.h"

enum spool_state { WAITING, RECEIPTED, REFUSED };

struct wp_spool {
    uv_mutex_t lock;
    struct wp_sql *sql;
    int64_t waiting, waiting_bytes, waiting_backfill; /* of state WAITING */
    int64_t refused, refused_bytes;
    int64_t limit;
    int64_t last_number, last_us;
    unsigned since_prune;
    char folder[WP_SPOOL_PATH];
};

#define SPOOL_LOCKED(spool) uv_mutex_lock(&(spool)->lock)
#define SPOOL_DONE(spool) uv_mutex_unlock(&(spool)->lock)

/* BEGIN IMMEDIATE; then commit if `status` is WP_OK, else roll back. Returns the first failure. */
enum wp_status spool_begin(struct wp_spool *spool);
enum wp_status spool_end(struct wp_spool *spool, enum wp_status status);

/* Counts what waits and what is refused from the tables. */
enum wp_status spool_count(struct wp_spool *spool);

#endif
