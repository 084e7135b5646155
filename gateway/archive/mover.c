#include "archive/mover.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "archive/removal.h"
#include "base/clock.h"
#include "base/log.h"
#include "staged.h"

#define BATCH_OBJECTS 256
#define BATCH_BYTES ((size_t)16 * 1024 * 1024)
#define PACE_US (WP_SECOND / 5)
#define IDLE_US (2 * WP_SECOND)
#define REFUSED_US (5 * WP_SECOND)

struct moved {
    unsigned char digest[WP_SHA256_SIZE];
    size_t size;
    size_t packed_at; /* in the batch's bytes */
    size_t packed_size;
    bool damaged;
};

struct batch {
    struct moved objects[BATCH_OBJECTS];
    size_t count;
    struct wp_bytes packed;
    struct wp_bytes plain; /* one object at a time */
    bool full;             /* there may be more */
    enum wp_status outcome;
};

struct wp_mover {
    struct wp_db *db;
    struct wp_store *store;
    struct wp_sql *sql;
    pthread_t thread;
    pthread_mutex_t mutex;
    pthread_cond_t wake;
    bool stopping; /* these two under the mutex */
    bool kicked;
    atomic_uint_fast64_t objects;
    atomic_uint_fast64_t batches;
    atomic_uint_fast64_t damaged;
    int64_t complained_us; /* of the thread alone */
    struct batch batch;
};

/* Copies staged rows, so that no snapshot is held while files are written. */
static enum wp_status read_batch(struct wp_mover *mover)
{
    struct batch *batch = &mover->batch;
    size_t bytes = 0;
    batch->count = 0;
    batch->full = false;
    wp_bytes_clear(&batch->packed);
    struct wp_rows rows;
    (void)wp_sql_query(mover->sql, &rows,
                       /* CROSS: few are staged, and objects are never searched for them. */
                       "SELECT s.sha256, s.size, s.body FROM staged s CROSS JOIN object o"
                       " ON o.sha256 = s.sha256 WHERE o.state = 'staged' LIMIT ?",
                       "i", (int64_t)BATCH_OBJECTS);
    enum wp_status status = WP_OK;
    while (!status && bytes < BATCH_BYTES && wp_rows_next(&rows)) {
        struct moved *object = &batch->objects[batch->count];
        size_t key;
        const void *digest = wp_rows_blob(&rows, 0, &key);
        const void *packed = wp_rows_blob(&rows, 2, &object->packed_size);
        if (key != WP_SHA256_SIZE)
            continue;
        memcpy(object->digest, digest, key);
        object->size = (size_t)wp_rows_int(&rows, 1);
        object->packed_at = batch->packed.size;
        object->damaged = false;
        bytes += object->size < STAGED_MOST ? object->size : 0;
        status = wp_bytes_add(&batch->packed, packed, object->packed_size);
        batch->count += !status;
    }
    batch->full = batch->count == BATCH_OBJECTS || bytes >= BATCH_BYTES;
    enum wp_status ended = wp_rows_end(&rows);
    /* A packed object beyond the batch's room waits for the next batch. */
    if (status == WP_TOO_LARGE && batch->count) {
        batch->full = true;
        status = WP_OK;
    }
    return ended ? ended : status;
}

static enum wp_status put_one(struct wp_mover *mover, struct moved *object, struct wp_error *error)
{
    struct batch *batch = &mover->batch;
    wp_bytes_clear(&batch->plain);
    enum wp_status status =
        staged_unpack(object->digest, object->size, batch->packed.data + object->packed_at,
                      object->packed_size, &batch->plain);
    if (status == WP_INVALID) {
        char hex[WP_SHA256_HEX];
        wp_hex_encode(object->digest, WP_SHA256_SIZE, hex);
        wp_log(WP_LOG_ERROR, "mover", "object %s: the staged bytes are damaged", hex);
        object->damaged = true;
        atomic_fetch_add(&mover->damaged, 1);
        return WP_OK;
    }
    if (status)
        return wp_fail(error, status, "no memory to unpack an object");
    return mover->store->ops->put(mover->store, object->digest, batch->plain.data,
                                  batch->plain.size, error);
}

static enum wp_status let_go(struct wp_txn *txn, const struct moved *object)
{
    const void *digest = object->digest;
    if (object->damaged)
        return wp_sql_run(txn->sql, "UPDATE object SET state = 'damaged' WHERE sha256 = ?", "b",
                          digest, (size_t)WP_SHA256_SIZE);
    enum wp_status status = wp_sql_run(txn->sql, "DELETE FROM staged WHERE sha256 = ?", "b", digest,
                                       (size_t)WP_SHA256_SIZE);
    if (status)
        return status;
    return wp_sql_run(txn->sql,
                      "UPDATE object SET state = 'stored' WHERE sha256 = ? AND state = 'staged'",
                      "b", digest, (size_t)WP_SHA256_SIZE);
}

/* The write job. A store that could not be synced ends it with WP_BROKEN, which stops the database
 * and with it the gateway: the copies stay. */
static enum wp_status release_batch(struct wp_txn *txn, void *arg)
{
    const struct batch *batch = arg;
    enum wp_status status = batch->outcome;
    for (size_t i = 0; i < batch->count && !status; i++)
        status = let_go(txn, &batch->objects[i]);
    return status;
}

static enum wp_status move_batch(struct wp_mover *mover, struct wp_error *error)
{
    struct batch *batch = &mover->batch;
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < batch->count && !status; i++)
        status = put_one(mover, &batch->objects[i], error);
    if (status)
        return status;
    batch->outcome = mover->store->ops->sync(mover->store, error);
    status = wp_db_write_wait(mover->db, release_batch, batch);
    if (status)
        return batch->outcome ? status
                              : wp_fail(error, status, "moved objects could not be recorded: %s",
                                        wp_status_name(status));
    atomic_fetch_add(&mover->objects, batch->count);
    atomic_fetch_add(&mover->batches, 1);
    return WP_OK;
}

/* One round: how long to wait before the next. */
static int64_t work(struct wp_mover *mover)
{
    struct wp_error error = {0};
    enum wp_status status = read_batch(mover);
    if (status)
        (void)wp_fail(&error, status, "staged objects cannot be read: %s",
                      wp_sql_message(mover->sql));
    else if (mover->batch.count)
        status = move_batch(mover, &error);
    /* After the batch: what it has just put may be an object that was removed meanwhile. */
    if (!status)
        status = wp_removals_work(mover->db, mover->sql, mover->store, &error);
    if (!status) {
        if (mover->batch.full)
            return 0;
        return mover->batch.count ? PACE_US : IDLE_US;
    }
    int64_t now = wp_clock_steady();
    if (!mover->complained_us || now - mover->complained_us >= WP_MINUTE) {
        mover->complained_us = now;
        wp_log(WP_LOG_WARN, "mover", "%s; objects stay in the database", error.text);
    }
    return REFUSED_US;
}

/* A kick shortens a wait to the pace, never below it: small batches would cost a sync each. False:
 * time to stop. */
static bool wait_for(struct wp_mover *mover, int64_t wait_us)
{
    int64_t start = wp_clock_steady();
    (void)pthread_mutex_lock(&mover->mutex);
    for (;;) {
        int64_t most = mover->kicked && wait_us == IDLE_US ? PACE_US : wait_us;
        int64_t until = start + most;
        if (mover->stopping || wp_clock_steady() >= until)
            break;
        struct timespec at = {.tv_sec = (time_t)(until / WP_SECOND),
                              .tv_nsec = (long)(until % WP_SECOND) * 1000};
        (void)pthread_cond_timedwait(&mover->wake, &mover->mutex, &at);
    }
    mover->kicked = false;
    bool go = !mover->stopping;
    (void)pthread_mutex_unlock(&mover->mutex);
    return go;
}

static void *run(void *arg)
{
    struct wp_mover *mover = arg;
    (void)pthread_setname_np(pthread_self(), "mover");
    while (wait_for(mover, work(mover)))
        ;
    return NULL;
}

static void free_mover(struct wp_mover *mover)
{
    wp_sql_close(mover->sql);
    wp_bytes_release(&mover->batch.packed);
    wp_bytes_release(&mover->batch.plain);
    (void)pthread_cond_destroy(&mover->wake);
    (void)pthread_mutex_destroy(&mover->mutex);
    free(mover);
}

enum wp_status wp_mover_start(struct wp_db *db, struct wp_store *store, struct wp_mover **mover,
                              struct wp_error *error)
{
    *mover = NULL;
    struct wp_mover *made = calloc(1, sizeof *made);
    if (!made)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the mover");
    made->db = db;
    made->store = store;
    wp_bytes_init(&made->batch.packed, STAGED_MOST + BATCH_BYTES);
    wp_bytes_init(&made->batch.plain, STAGED_MOST);
    pthread_condattr_t steady;
    (void)pthread_condattr_init(&steady);
    (void)pthread_condattr_setclock(&steady, CLOCK_MONOTONIC);
    (void)pthread_mutex_init(&made->mutex, NULL);
    (void)pthread_cond_init(&made->wake, &steady);
    (void)pthread_condattr_destroy(&steady);
    enum wp_status status = wp_db_reader(db, &made->sql, error);
    if (!status && pthread_create(&made->thread, NULL, run, made))
        status = wp_fail(error, WP_NO_MEMORY, "no thread for the mover");
    if (status) {
        free_mover(made);
        return status;
    }
    *mover = made;
    return WP_OK;
}

void wp_mover_kick(struct wp_mover *mover)
{
    (void)pthread_mutex_lock(&mover->mutex);
    mover->kicked = true;
    (void)pthread_cond_signal(&mover->wake);
    (void)pthread_mutex_unlock(&mover->mutex);
}

void wp_mover_count(struct wp_mover *mover, struct wp_mover_counts *counts)
{
    counts->objects = atomic_load(&mover->objects);
    counts->batches = atomic_load(&mover->batches);
    counts->damaged = atomic_load(&mover->damaged);
}

void wp_mover_stop(struct wp_mover *mover)
{
    if (!mover)
        return;
    (void)pthread_mutex_lock(&mover->mutex);
    mover->stopping = true;
    (void)pthread_cond_signal(&mover->wake);
    (void)pthread_mutex_unlock(&mover->mutex);
    (void)pthread_join(mover->thread, NULL);
    free_mover(mover);
}
