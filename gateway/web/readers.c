#include "readers.h"

#include <pthread.h>
#include <stdlib.h>

struct wp_readers {
    struct wp_db *db;
    pthread_mutex_t lock;
    struct wp_sql *kept[WP_READERS_KEPT];
    size_t count;
};

struct wp_readers *wp_readers_new(struct wp_db *db)
{
    struct wp_readers *readers = calloc(1, sizeof *readers);
    if (!readers)
        return NULL;
    readers->db = db;
    pthread_mutex_init(&readers->lock, NULL);
    return readers;
}

enum wp_status wp_readers_take(struct wp_readers *readers, struct wp_sql **sql,
                               struct wp_error *error)
{
    *sql = NULL;
    pthread_mutex_lock(&readers->lock);
    if (readers->count > 0)
        *sql = readers->kept[--readers->count];
    pthread_mutex_unlock(&readers->lock);
    return *sql ? WP_OK : wp_db_reader(readers->db, sql, error);
}

void wp_readers_give(struct wp_readers *readers, struct wp_sql *sql)
{
    bool kept = false;
    pthread_mutex_lock(&readers->lock);
    if (readers->count < WP_READERS_KEPT) {
        readers->kept[readers->count++] = sql;
        kept = true;
    }
    pthread_mutex_unlock(&readers->lock);
    if (!kept)
        wp_sql_close(sql);
}

void wp_readers_free(struct wp_readers *readers)
{
    if (!readers)
        return;
    while (readers->count > 0)
        wp_sql_close(readers->kept[--readers->count]);
    pthread_mutex_destroy(&readers->lock);
    free(readers);
}
