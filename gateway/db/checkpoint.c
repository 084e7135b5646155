#include <sqlite3.h>
#include <unistd.h>

#include "base/log.h"
#include "parts.h"

/* Above the first size the log is copied into the database, beside readers and writer. If it still
 * reaches the second, the writer is held for a moment so that the log can start anew. */
#define PASSIVE_BYTES (4 * 1024 * 1024)
#define RESTART_BYTES (64 * 1024 * 1024)
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

static void checkpoint(struct wp_db *db)
{
    sqlite3 *handle = wp_sql_handle(db->checkpoint_sql);
    bool large = atomic_load(&db->wal_bytes) >= RESTART_BYTES;
    int code = sqlite3_wal_checkpoint_v2(
        handle, NULL, large ? SQLITE_CHECKPOINT_RESTART : SQLITE_CHECKPOINT_PASSIVE, NULL, NULL);
    if (code == SQLITE_OK || code == SQLITE_BUSY || code == SQLITE_LOCKED)
        return;
    if (code == SQLITE_FULL) {
        wp_log(WP_LOG_WARN, "db", "the disk is full: the write-ahead log cannot be copied");
        return;
    }
    wp_log(WP_LOG_ERROR, "db", "checkpoint: %s", wp_sql_message(db->checkpoint_sql));
    db_break(db, "a checkpoint failed");
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
