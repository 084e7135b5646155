/* spool.h - what the agent must not forget: its settings, the captures that the gateway has not
 * yet receipted, bytes included, and which files it has seen. One SQLite database in the state
 * folder; every change is one transaction, so a kill or a power cut between any two instructions
 * leaves the state before or after it.
 *
 * Bytes held are bounded by the limit, and the disk is never filled to its last 8 MiB:
 * wp_spool_add fails with WP_FULL and nothing is evicted.
 * Of receipted captures only a line is kept, the newest 100,000.
 *
 * Errors: WP_FULL (limit or disk; try later), WP_RETRY, WP_NO_MEMORY; WP_BROKEN means that the
 * storage cannot be trusted any more and the agent must stop.
 *
 * Thread: any; calls wait for each other.
 */
#ifndef AGENT_SPOOL_H
#define AGENT_SPOOL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/bytes.h"
#include "base/digest.h"
#include "base/status.h"
#include "settle.h"

#define WP_SPOOL_PATH 4096

struct wp_spool;

enum wp_status wp_spool_open(const char *folder, struct wp_spool **spool, struct wp_error *error);
/* For looking only, while another process may be writing. WP_NOT_FOUND: no agent lives there. */
enum wp_status wp_spool_open_to_read(const char *folder, struct wp_spool **spool,
                                     struct wp_error *error);
void wp_spool_close(struct wp_spool *spool);
const char *wp_spool_message(struct wp_spool *spool);

/* Settings. A missing one is "" or `otherwise`; so is one that cannot be read, but for
 * wp_spool_read, which returns the database's error. */
enum wp_status wp_spool_read(struct wp_spool *spool, const char *name, char *out, size_t room);
void wp_spool_text(struct wp_spool *spool, const char *name, char *out, size_t room);
int64_t wp_spool_whole(struct wp_spool *spool, const char *name, int64_t otherwise);
enum wp_status wp_spool_set_text(struct wp_spool *spool, const char *name, const char *value);
enum wp_status wp_spool_set_whole(struct wp_spool *spool, const char *name, int64_t value);

/* Watched folders. */
struct wp_spool_folder {
    int64_t id;
    char path[WP_SPOOL_PATH];
    bool ready;        /* what was there when it was first seen has been noted */
    bool backfill;     /* take those files as well */
    int64_t joined_us; /* files that came before count as having been there */
};
/* One call per folder: true while there is one with an id above `folder->id`. */
bool wp_spool_next_folder(struct wp_spool *spool, struct wp_spool_folder *folder);
/* Adds it or, if the path is known, changes its backfill. */
enum wp_status wp_spool_put_folder(struct wp_spool *spool, const char *path, bool backfill,
                                   int64_t joined_us);
enum wp_status wp_spool_drop_folder(struct wp_spool *spool, const char *path);
enum wp_status wp_spool_folder_ready(struct wp_spool *spool, int64_t folder);

/* Patterns: text of the n-th; false past the end. */
bool wp_spool_pattern(struct wp_spool *spool, int64_t n, char *out, size_t room, bool *exclude);
enum wp_status wp_spool_drop_patterns(struct wp_spool *spool);
enum wp_status wp_spool_add_pattern(struct wp_spool *spool, const char *pattern, bool exclude);

/* Files seen: two words a file (see seen.h). */
struct wp_seen_pair {
    uint64_t key;
    uint64_t mark;
};
typedef bool (*wp_spool_seen_fn)(void *arg, uint64_t key, uint64_t mark);
enum wp_status wp_spool_each_seen(struct wp_spool *spool, int64_t folder, wp_spool_seen_fn fn,
                                  void *arg);
enum wp_status wp_spool_mark(struct wp_spool *spool, int64_t folder,
                             const struct wp_seen_pair *pairs, size_t count);
/* These files of the folder (keys in rising order) are gone today. What has been gone at
 * WP_GONE_PASSES such calls and for WP_GONE_US is forgotten: so neither a clock that jumps nor many
 * restarts make it short. Those keys then stand first in `keys`, in rising order, `*forgotten` of
 * them. A file that comes back later counts as new. */
#define WP_GONE_PASSES 30
#define WP_GONE_US (INT64_C(30) * 24 * 3600 * 1000000)
enum wp_status wp_spool_gone(struct wp_spool *spool, int64_t folder, int64_t now_us, uint64_t *keys,
                             size_t count, size_t *forgotten);

/* A capture. */
struct wp_spool_capture {
    int64_t number;
    int64_t folder;
    char path[WP_SPOOL_PATH]; /* relative to the folder, as bytes */
    int64_t size;
    struct wp_look look;
    int64_t captured_us;
    int64_t steady_us;
    char boot_id[48];
    unsigned char sha256[WP_SHA256_SIZE];
    bool backfill;
};
/* Gives it its number and keeps bytes, line and mark in one transaction. */
enum wp_status wp_spool_add(struct wp_spool *spool, struct wp_spool_capture *capture,
                            const void *bytes, const struct wp_seen_pair *pair);
/* True if this very state of a file was captured before: same size, time, inode and bytes. */
bool wp_spool_known(struct wp_spool *spool, const struct wp_spool_capture *capture);

/* The captures waiting in the order they are sent: of now before backfill, then by number. Begins
 * after (backfill, number) of `*capture`, which it fills; false at the end. */
bool wp_spool_next_waiting(struct wp_spool *spool, struct wp_spool_capture *capture);
enum wp_status wp_spool_bytes(struct wp_spool *spool, int64_t number, struct wp_bytes *bytes);

/* The gateway holds it: the bytes go. Not synced by itself, for the gateway repeats receipts. */
enum wp_status wp_spool_receipt(struct wp_spool *spool, int64_t number, const char *receipt,
                                int64_t ledger_number, const char *ledger_hash);
/* Its number was given to other bytes before this state folder was put back to an older copy: it
 * gets one that is far beyond those that were given meanwhile, and goes on waiting. One
 * transaction. */
enum wp_status wp_spool_renumber(struct wp_spool *spool, int64_t number);
/* The gateway will never take it: kept, bytes included, and no longer sent. */
enum wp_status wp_spool_refuse(struct wp_spool *spool, int64_t number, const char *reason);
/* After joining anew refused captures wait again. */
enum wp_status wp_spool_forgive(struct wp_spool *spool);
/* The refused, by number; false at the end. */
bool wp_spool_next_refused(struct wp_spool *spool, struct wp_spool_capture *capture, char *reason,
                           size_t room);

struct wp_spool_load {
    int64_t waiting, waiting_bytes, waiting_backfill;
    int64_t refused, refused_bytes;
    int64_t oldest_us; /* of the waiting; 0: none waits */
    int64_t last_number, last_us;
    int64_t limit;
};
void wp_spool_load(struct wp_spool *spool, struct wp_spool_load *load);

#endif
