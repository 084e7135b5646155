#include <sqlite3.h>
#include <unistd.h>

#include "base/log.h"
#include "parts.h"

/* Above the first size the log is copied into the database, beside readers and writer. A writer
 * that is never at rest appends faster than that, and the log could never start anew; so at the
 * second size it waits for one checkpoint that copies everything. */
#define PASSIVE_BYTES (4 * 1024 * 1024)
#define RESTART_BYTES (32 * 1024 * 1024)
#define ALARM_BYTES (256 * 1024 * 1024)
#define FRAME_HEAD 24
#define PAUSE_US 20000
#define RESTART_WAIT_MS 1000

/* Called by SQLite after each commit, on the writer's thread. Being set, it also turns off
 * SQLite's own checkpoints, which would run inside a commit. */
static int after_commit(void *arg, sqlite3 *handle, const char *name, int pages)
{
    struct wp_db *db = arg;
    (void)handle;
    (void)name;
    int64_t bytes = (int64_t)pages * (4096 + FRAME_HEAD);
    atomic_store(&db->wal_bytes, bytes);
    if (bytes >= PASSIVE_BYTES) {
        (void)pthread_mutex_lock(&db->mutex);
        db->checkpoint_asked = true;
        (void)pthread_mutex_unlock(&db->mutex);
        (void)pthread_cond_signal(&db->checkpoint_due);
    }
    return SQLITE_OK;
}

void db_watch_wal(struct wp_db *db)
{
    (void)sqlite3_wal_hook(wp_sql_handle(db->sql), after_commit, db);
}

/* Waits until a commit has left a log that is worth a checkpoint. False: time to end. */
static bool wait_until_due(struct wp_db *db)
{
    (void)pthread_mutex_lock(&db->mutex);
    while (!db->checkpoint_stop && (db->broken || !db->checkpoint_asked))
        (void)pthread_cond_wait(&db->checkpoint_due, &db->mutex);
    bool go = !db->checkpoint_stop;
    db->checkpoint_asked = false;
    (void)pthread_mutex_unlock(&db->mutex);
    return go;
}

/* A reader that holds on for long lets the log grow; say so, once a doubling. */
static void warn_of_growth(int64_t bytes, int64_t *warned)
{
    if (bytes < ALARM_BYTES)
        *warned = 0;
    else if (bytes >= 2 * *warned) {
        *warned = bytes;
        wp_log(WP_LOG_WARN, "db", "the write-ahead log has grown to %lld MiB: a reader holds it",
               (long long)(bytes / (1024 * 1024)));
    }
}

/* True if everything was copied, so that the next commit starts the log anew. */
static bool judge(struct wp_db *db, int code)
{
    if (code == SQLITE_OK || code == SQLITE_BUSY || code == SQLITE_LOCKED)
        return code == SQLITE_OK;
    if (code == SQLITE_FULL) {
        wp_log(WP_LOG_WARN, "db", "the disk is full: the write-ahead log cannot be copied");
        return false;
    }
    wp_log(WP_LOG_ERROR, "db", "checkpoint: %s", wp_sql_message(db->checkpoint_sql));
    db_break(db, "a checkpoint failed");
    return false;
}

static void checkpoint(struct wp_db *db)
{
    sqlite3 *handle = wp_sql_handle(db->checkpoint_sql);
    (void)pthread_mutex_lock(&db->mutex);
    bool restart = db->writer_held;
    (void)pthread_mutex_unlock(&db->mutex);
    int mode = restart ? SQLITE_CHECKPOINT_RESTART : SQLITE_CHECKPOINT_PASSIVE;
    bool whole = judge(db, sqlite3_wal_checkpoint_v2(handle, NULL, mode, NULL, NULL));
    if (!restart)
        return;
    (void)pthread_mutex_lock(&db->mutex);
    db->writer_held = false;
    if (whole)
        atomic_store(&db->wal_bytes, 0);
    (void)pthread_cond_broadcast(&db->checkpoint_done);
    (void)pthread_mutex_unlock(&db->mutex);
}

void db_hold_writer(struct wp_db *db)
{
    int64_t bytes = atomic_load(&db->wal_bytes);
    if (bytes < RESTART_BYTES)
        db->hold_at = RESTART_BYTES;
    if (bytes < db->hold_at)
        return;
    /* If a reader prevents it now, not before the log has grown by as much again. */
    db->hold_at = bytes + RESTART_BYTES;
    (void)pthread_mutex_lock(&db->mutex);
    db->writer_held = !db->broken;
    db->checkpoint_asked = true;
    (void)pthread_cond_signal(&db->checkpoint_due);
    while (db->writer_held && !db->broken)
        (void)pthread_cond_wait(&db->checkpoint_done, &db->mutex);
    (void)pthread_mutex_unlock(&db->mutex);
}

void *db_checkpointer(void *arg)
{
    struct wp_db *db = arg;
    (void)pthread_setname_np(pthread_self(), "db-checkpoint");
    (void)sqlite3_busy_timeout(wp_sql_handle(db->checkpoint_sql), RESTART_WAIT_MS);
    int64_t warned = 0;
    while (wait_until_due(db)) {
        checkpoint(db);
        warn_of_growth(atomic_load(&db->wal_bytes), &warned);
        /* Not after every commit: each checkpoint syncs twice. */
        (void)usleep(PAUSE_US);
    }
    return NULL;
}
