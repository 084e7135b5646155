/* What crosses between the loop, or a waiting thread, and the database's own threads. */
#include "parts.h"

/* Answers everything that has finished. On the loop's thread. */
void db_answer(struct wp_db *db)
{
    for (;;) {
        (void)pthread_mutex_lock(&db->mutex);
        struct db_item *item = db_list_take(&db->finished);
        (void)pthread_mutex_unlock(&db->mutex);
        if (!item)
            return;
        struct db_item copy = *item;
        struct db_lane *lane = copy.write ? &db->writes : &db->reads;
        /* Free again before `done` runs, so that `done` may queue the next job. */
        (void)pthread_mutex_lock(&db->mutex);
        item->next = lane->spare;
        lane->spare = item;
        (void)pthread_mutex_unlock(&db->mutex);
        copy.done(copy.job, copy.status);
    }
}

/* Takes a flag down and says whether it was up. */
static bool take_flag(struct wp_db *db, bool *flag)
{
    (void)pthread_mutex_lock(&db->mutex);
    bool up = *flag;
    *flag = false;
    (void)pthread_mutex_unlock(&db->mutex);
    return up;
}

static bool take_room(struct wp_db *db)
{
    (void)pthread_mutex_lock(&db->mutex);
    bool room = db->writes.refused && db->writes.spare && !db->stopping;
    if (room)
        db->writes.refused = false;
    (void)pthread_mutex_unlock(&db->mutex);
    return room;
}

static bool take_breakage(struct wp_db *db)
{
    (void)pthread_mutex_lock(&db->mutex);
    bool tell = db->broken && !db->broken_told;
    db->broken_told = db->broken;
    (void)pthread_mutex_unlock(&db->mutex);
    return tell;
}

static void on_wake(uv_async_t *wake)
{
    struct wp_db *db = wake->data;
    bool committed = take_flag(db, &db->committed);
    db_answer(db);
    if (committed && db->options.committed)
        db->options.committed(db->options.arg);
    if (take_breakage(db) && db->options.broken)
        db->options.broken(db->options.arg);
    if (take_room(db) && db->room)
        db->room(db->room_arg);
}

static enum wp_status open_connections(struct wp_db *db)
{
    enum wp_status status = wp_sql_open(db->path, WP_SQL_WRITE, &db->checkpoint_sql, NULL);
    for (unsigned i = 0; i < db->options.readers && !status; i++)
        status = wp_sql_open(db->path, WP_SQL_READ, &db->reader_sql[i], NULL);
    return status;
}

static enum wp_status start_threads(struct wp_db *db)
{
    if (pthread_create(&db->writer_thread, NULL, db_writer, db))
        return WP_NO_MEMORY;
    db->threads_started++;
    if (pthread_create(&db->checkpoint_thread, NULL, db_checkpointer, db))
        return WP_NO_MEMORY;
    db->threads_started++;
    for (unsigned i = 0; i < db->options.readers; i++) {
        if (pthread_create(&db->reader_threads[i], NULL, db_reader_thread, db))
            return WP_NO_MEMORY;
        db->threads_started++;
    }
    return WP_OK;
}

enum wp_status wp_db_start(struct wp_db *db, uv_loop_t *loop)
{
    if (db->started)
        return WP_INVALID;
    enum wp_status status = open_connections(db);
    if (status)
        return status;
    db->wake.data = db;
    if (uv_async_init(loop, &db->wake, on_wake))
        return WP_NO_MEMORY;
    db->started = true;
    return start_threads(db);
}

static enum wp_status queue(struct wp_db *db, struct db_lane *lane, const struct db_item *filled)
{
    (void)pthread_mutex_lock(&db->mutex);
    struct db_item *item = db->stopping || !db->started ? NULL : lane->spare;
    if (item) {
        lane->spare = item->next;
        *item = *filled;
        db_list_add(&lane->waiting, item);
        lane->count++;
        (void)pthread_cond_signal(&lane->work_there);
    } else {
        lane->refused = true;
    }
    (void)pthread_mutex_unlock(&db->mutex);
    return item ? WP_OK : WP_RETRY;
}

enum wp_status wp_db_write(struct wp_db *db, wp_write_fn fn, wp_done_fn done, void *job)
{
    return queue(db, &db->writes, &(struct db_item){.write = fn, .done = done, .job = job});
}

enum wp_status wp_db_read(struct wp_db *db, wp_read_fn fn, wp_done_fn done, void *job)
{
    return queue(db, &db->reads, &(struct db_item){.read = fn, .done = done, .job = job});
}

enum wp_status wp_db_write_wait(struct wp_db *db, wp_write_fn fn, void *job)
{
    struct db_waiter waiter = {.done = false};
    struct db_item item = {.write = fn, .job = job, .waiter = &waiter};
    (void)pthread_cond_init(&waiter.answered, NULL);
    (void)pthread_mutex_lock(&db->mutex);
    bool refused = db->stopping || !db->started;
    if (!refused) {
        db_list_add(&db->writes.waiting, &item);
        db->writes.count++;
        (void)pthread_cond_signal(&db->writes.work_there);
    }
    while (!refused && !waiter.done)
        (void)pthread_cond_wait(&waiter.answered, &db->mutex);
    (void)pthread_mutex_unlock(&db->mutex);
    (void)pthread_cond_destroy(&waiter.answered);
    return refused ? WP_RETRY : item.status;
}

void wp_db_on_room(struct wp_db *db, void (*room)(void *arg), void *arg)
{
    db->room = room;
    db->room_arg = arg;
}
