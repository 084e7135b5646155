/* db/db.h - the gateway's database: one writer with group commit, several readers.
 *
 * A write is a job: a function that gets a transaction, its input and its output in one pointer,
 * and may be run again from the start (after a failed group). Side effects outside the database
 * belong in `done`, which runs on the loop after the commit. The writer thread takes whatever has
 * queued, up to a bound, into one transaction, each job in a savepoint of its own: a job that fails
 * is rolled back alone and the others commit. Commits are synchronous=FULL: when done says WP_OK,
 * the change is on disk.
 *
 * After a broken commit or a failed sync nothing is retried: `broken` is called once on the loop,
 * every waiting job is answered WP_BROKEN, and the process is expected to stop and recover by
 * restarting.
 *
 * Thread: the loop's, unless said otherwise.
 */
#ifndef DB_DB_H
#define DB_DB_H

#include <stdbool.h>
#include <stdint.h>
#include <uv.h>

#include "base/sql.h"
#include "base/status.h"

struct wp_db;

/* What a write job works with. Valid during the job only. */
struct wp_txn {
    struct wp_sql *sql;
    int64_t now; /* UTC microseconds, the same for every statement of the job */
    bool keep;   /* set by a job: what it wrote stays even if it fails, such as a count of tries */
};

typedef enum wp_status (*wp_write_fn)(struct wp_txn *txn, void *job);
typedef enum wp_status (*wp_read_fn)(struct wp_sql *sql, void *job);
typedef void (*wp_done_fn)(void *job, enum wp_status status);

struct wp_db_options {
    const char *folder;           /* the data folder; the database is gateway.db in it. Copied. */
    unsigned readers;             /* reading threads, 0: 2 */
    size_t queue_most;            /* jobs waiting in each of the two lanes, 0: 4096 */
    void (*broken)(void *arg);    /* see above; may be NULL */
    void (*committed)(void *arg); /* on the loop after each commit, or several; may be NULL */
    void *arg;
};

/* Makes the data folder if it is missing (mode 0700), takes its lock (flock on DIR/lock), opens or
 * makes the database, applies migrations in order (each in one transaction, recorded in table
 * `migration`), seeds ids. Works without a loop: then only the _now calls may be used. WP_CONFLICT:
 * another process holds the folder. WP_INVALID: made by a newer version. WP_IO, WP_BROKEN, WP_FULL
 * as wp_sql_open. */
enum wp_status wp_db_open(const struct wp_db_options *options, struct wp_db **db,
                          struct wp_error *error);

/* Starts the writer, the readers and the checkpointer; answers come on `loop`. WP_INVALID: started
 * already. WP_NO_MEMORY and errors of wp_sql_open: close the database. */
enum wp_status wp_db_start(struct wp_db *db, uv_loop_t *loop);

/* Queues a job. WP_RETRY: the lane is full (or not started, or closing), nothing was queued.
 * Otherwise WP_OK and done will be called exactly once: with what the job returned (its own changes
 * are then undone unless that is WP_OK), or with the outcome of the commit: WP_FULL (disk full,
 * nothing recorded), WP_RETRY (somebody else held the database), WP_BROKEN (unknown: the change may
 * or may not be there after the restart). A read job sees one snapshot. */
enum wp_status wp_db_write(struct wp_db *db, wp_write_fn fn, wp_done_fn done, void *job);
enum wp_status wp_db_read(struct wp_db *db, wp_read_fn fn, wp_done_fn done, void *job);

/* The same at once on the calling thread, before wp_db_start (WP_INVALID after it): for the command
 * line and for start-up. */
enum wp_status wp_db_write_now(struct wp_db *db, wp_write_fn fn, void *job);
enum wp_status wp_db_read_now(struct wp_db *db, wp_read_fn fn, void *job);

/* A reading connection of one's own for a thread that streams (export, verify, mover). Any thread.
 * Keep transactions below a second. The caller closes it with wp_sql_close. */
enum wp_status wp_db_reader(struct wp_db *db, struct wp_sql **sql, struct wp_error *error);

/* From any thread but the loop's and the database's own (the mover): queues a write, beyond the
 * lane's bound, and waits for its outcome. WP_RETRY: not started, or closing. Such threads are
 * stopped before wp_db_close. */
enum wp_status wp_db_write_wait(struct wp_db *db, wp_write_fn fn, void *job);

/* Soon rewrites the database, so that nothing that was deleted or changed remains in free pages, in
 * gaps of pages or in the write-ahead log. Writes wait meanwhile (docs/administrator.md says how
 * long), reads do not; it needs free disk for two more copies. When it is done, setting
 * `scrub.wanted` is gone; if it cannot be done (disk full, a reader that holds on), the setting
 * stays, the log says so, and the caller asks again later. */
void wp_db_scrub(struct wp_db *db);

/* Calls `room` on the loop when a full write lane has room again. */
void wp_db_on_room(struct wp_db *db, void (*room)(void *arg), void *arg);

struct wp_db_counts {
    uint64_t jobs;    /* write jobs done */
    uint64_t commits; /* group commits */
    size_t waiting;   /* write jobs queued now */
    int64_t wal_bytes;
};
void wp_db_count(struct wp_db *db, struct wp_db_counts *counts);

const char *wp_db_folder(const struct wp_db *db);

/* Finishes queued jobs, joins threads, answers everything before it returns (`done` is called from
 * within), copies the write-ahead log, closes, lets go of the lock. If the database was started,
 * its memory is freed when the loop next turns. NULL is harmless. */
void wp_db_close(struct wp_db *db);

#endif
