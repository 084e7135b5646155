#include "db/db.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/log.h"
#include "parts.h"

#define READERS_STANDARD 2
#define QUEUE_STANDARD 4096

void db_list_init(struct db_list *list)
{
    list->first = NULL;
    list->end = &list->first;
}

void db_list_add(struct db_list *list, struct db_item *item)
{
    item->next = NULL;
    *list->end = item;
    list->end = &item->next;
}

struct db_item *db_list_take(struct db_list *list)
{
    struct db_item *item = list->first;
    if (!item)
        return NULL;
    list->first = item->next;
    if (!list->first)
        list->end = &list->first;
    return item;
}

void db_finish(struct wp_db *db, struct db_item *item)
{
    if (item->waiter) {
        item->waiter->done = true;
        (void)pthread_cond_signal(&item->waiter->answered);
    } else {
        db_list_add(&db->finished, item);
    }
}

void db_break(struct wp_db *db, const char *what)
{
    (void)pthread_mutex_lock(&db->mutex);
    bool first = !db->broken;
    db->broken = true;
    (void)pthread_cond_broadcast(&db->checkpoint_done);
    (void)pthread_mutex_unlock(&db->mutex);
    if (!first)
        return;
    wp_log(WP_LOG_ERROR, "db", "%s; nothing more is written until a restart", what);
    (void)uv_async_send(&db->wake);
}

static enum wp_status lane_init(struct db_lane *lane, size_t most)
{
    db_list_init(&lane->waiting);
    (void)pthread_cond_init(&lane->work_there, NULL);
    lane->items = calloc(most, sizeof lane->items[0]);
    for (size_t i = 0; lane->items && i < most; i++) {
        lane->items[i].next = lane->spare;
        lane->spare = &lane->items[i];
    }
    return lane->items ? WP_OK : WP_NO_MEMORY;
}

static void free_memory(struct wp_db *db)
{
    (void)pthread_mutex_destroy(&db->mutex);
    (void)pthread_cond_destroy(&db->writes.work_there);
    (void)pthread_cond_destroy(&db->reads.work_there);
    (void)pthread_cond_destroy(&db->checkpoint_due);
    (void)pthread_cond_destroy(&db->checkpoint_done);
    free(db->writes.items);
    free(db->reads.items);
    free(db->folder);
    free(db->path);
    free(db);
}

static struct wp_db *allocate(const struct wp_db_options *options)
{
    struct wp_db *db = calloc(1, sizeof *db);
    if (!db)
        return NULL;
    db->options = *options;
    db->options.readers = options->readers ? options->readers : READERS_STANDARD;
    if (db->options.readers > DB_READERS_MOST)
        db->options.readers = DB_READERS_MOST;
    db->options.queue_most = options->queue_most ? options->queue_most : QUEUE_STANDARD;
    db->lock = -1;
    db_list_init(&db->finished);
    (void)pthread_mutex_init(&db->mutex, NULL);
    (void)pthread_cond_init(&db->checkpoint_due, NULL);
    (void)pthread_cond_init(&db->checkpoint_done, NULL);
    enum wp_status writes = lane_init(&db->writes, db->options.queue_most);
    enum wp_status reads = lane_init(&db->reads, db->options.queue_most);
    db->folder = strdup(options->folder);
    bool named = asprintf(&db->path, "%s/gateway.db", options->folder) > 0;
    if (!named)
        db->path = NULL;
    if (writes || reads || !db->folder || !named) {
        free_memory(db);
        return NULL;
    }
    db->options.folder = db->folder;
    return db;
}

static enum wp_status open_file(struct wp_db *db, struct wp_error *error)
{
    enum wp_status status = wp_sql_open(db->path, WP_SQL_WRITE, &db->sql, error);
    if (status)
        return status;
    db_watch_wal(db);
    status = db_migrate(db->sql, error);
    if (!status) {
        status = db_mark_load(db);
        if (status)
            (void)wp_fail(error, status, "%s: %s", db->path, wp_sql_message(db->sql));
    }
    return status;
}

enum wp_status wp_db_open(const struct wp_db_options *options, struct wp_db **db,
                          struct wp_error *error)
{
    *db = NULL;
    struct wp_error local = {.status = WP_IO};
    struct wp_db *opened = allocate(options);
    if (!opened)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the database");
    opened->lock = db_lock_folder(options->folder, &local);
    enum wp_status status = opened->lock < 0 ? local.status : open_file(opened, &local);
    if (status) {
        if (error)
            *error = local;
        wp_db_close(opened);
        return status;
    }
    *db = opened;
    return WP_OK;
}

enum wp_status wp_db_reader(struct wp_db *db, struct wp_sql **sql, struct wp_error *error)
{
    return wp_sql_open(db->path, WP_SQL_READ, sql, error);
}

enum wp_status wp_db_write_now(struct wp_db *db, wp_write_fn fn, void *job)
{
    if (db->started)
        return WP_INVALID;
    struct db_item item = {.write = fn, .job = job};
    struct db_item *group = &item;
    (void)db_run_group(db, &group, 1);
    atomic_fetch_add(&db->jobs, 1);
    return item.status;
}

enum wp_status wp_db_read_now(struct wp_db *db, wp_read_fn fn, void *job)
{
    if (db->started)
        return WP_INVALID;
    enum wp_status status = wp_sql_run(db->sql, "BEGIN", "");
    if (status)
        return status;
    status = fn(db->sql, job);
    enum wp_status ended = wp_sql_run(db->sql, "COMMIT", "");
    return status ? status : ended;
}

void wp_db_count(struct wp_db *db, struct wp_db_counts *counts)
{
    counts->jobs = atomic_load(&db->jobs);
    counts->commits = atomic_load(&db->commits);
    counts->wal_bytes = atomic_load(&db->wal_bytes);
    (void)pthread_mutex_lock(&db->mutex);
    counts->waiting = db->writes.count;
    (void)pthread_mutex_unlock(&db->mutex);
}

const char *wp_db_folder(const struct wp_db *db)
{
    return db->folder;
}

static void join_threads(struct wp_db *db)
{
    (void)pthread_mutex_lock(&db->mutex);
    db->stopping = true;
    (void)pthread_cond_broadcast(&db->writes.work_there);
    (void)pthread_cond_broadcast(&db->reads.work_there);
    (void)pthread_mutex_unlock(&db->mutex);
    if (db->threads_started > 0)
        (void)pthread_join(db->writer_thread, NULL);
    for (unsigned i = 2; i < db->threads_started; i++)
        (void)pthread_join(db->reader_threads[i - 2], NULL);
    (void)pthread_mutex_lock(&db->mutex);
    db->checkpoint_stop = true;
    (void)pthread_cond_broadcast(&db->checkpoint_due);
    (void)pthread_mutex_unlock(&db->mutex);
    if (db->threads_started > 1)
        (void)pthread_join(db->checkpoint_thread, NULL);
}

static void closed(uv_handle_t *wake)
{
    free_memory(wake->data);
}

void wp_db_close(struct wp_db *db)
{
    if (!db)
        return;
    bool looped = db->started;
    if (looped) {
        join_threads(db);
        db_answer(db);
    }
    for (unsigned i = 0; i < DB_READERS_MOST; i++)
        wp_sql_close(db->reader_sql[i]);
    wp_sql_close(db->checkpoint_sql);
    if (db->sql && !db->broken)
        db_mark_tidy(db);
    /* The last connection copies the write-ahead log and removes it. */
    wp_sql_close(db->sql);
    if (db->lock >= 0)
        (void)close(db->lock);
    if (looped)
        uv_close((uv_handle_t *)&db->wake, closed);
    else
        free_memory(db);
}
