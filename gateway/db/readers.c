#include "parts.h"

static struct db_item *next_read(struct wp_db *db)
{
    (void)pthread_mutex_lock(&db->mutex);
    while (!db->reads.waiting.first && !db->stopping)
        (void)pthread_cond_wait(&db->reads.work_there, &db->mutex);
    struct db_item *item = db_list_take(&db->reads.waiting);
    if (item)
        db->reads.count--;
    (void)pthread_mutex_unlock(&db->mutex);
    return item;
}

static struct wp_sql *own_connection(struct wp_db *db)
{
    struct wp_sql *sql = NULL;
    (void)pthread_mutex_lock(&db->mutex);
    for (unsigned i = 0; i < db->options.readers && !sql; i++) {
        sql = db->reader_sql[i];
        db->reader_sql[i] = NULL;
    }
    (void)pthread_mutex_unlock(&db->mutex);
    return sql;
}

/* One snapshot for the whole job. */
static enum wp_status run_read(struct wp_sql *sql, const struct db_item *item)
{
    enum wp_status status = wp_sql_run(sql, "BEGIN", "");
    if (status)
        return status;
    status = item->read(sql, item->job);
    enum wp_status ended = wp_sql_run(sql, "COMMIT", "");
    return status ? status : ended;
}

void *db_reader_thread(void *arg)
{
    struct wp_db *db = arg;
    (void)pthread_setname_np(pthread_self(), "db-reader");
    struct wp_sql *sql = own_connection(db);
    struct db_item *item;
    while ((item = next_read(db))) {
        item->status = run_read(sql, item);
        (void)pthread_mutex_lock(&db->mutex);
        db_finish(db, item);
        (void)pthread_mutex_unlock(&db->mutex);
        (void)uv_async_send(&db->wake);
    }
    wp_sql_close(sql);
    return NULL;
}
