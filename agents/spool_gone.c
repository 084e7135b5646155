#include <stdlib.h>

#include "spool_parts.h"

static int compare(const void *a, const void *b)
{
    const uint64_t *one = a;
    const uint64_t *other = b;
    return (*one > *other) - (*one < *other);
}

static enum wp_status note(struct wp_spool *spool, int64_t folder, int64_t now_us,
                           const uint64_t *keys, size_t count)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < count; i++)
        status = wp_sql_run(spool->sql,
                            "INSERT INTO gone(folder, key, since_us, passes) VALUES(?, ?, ?, 1)"
                            " ON CONFLICT(folder, key) DO UPDATE SET passes = passes + 1,"
                            " since_us = min(since_us, excluded.since_us)",
                            "iii", folder, (int64_t)keys[i], now_us);
    return status;
}

/* Rows of files that are no longer gone; read first, for a row must not go while rows are read. */
static enum wp_status drop_returned(struct wp_spool *spool, int64_t folder, const uint64_t *keys,
                                    size_t count)
{
    struct wp_rows rows;
    struct wp_bytes back;
    wp_bytes_init(&back, SIZE_MAX / 2);
    enum wp_status status =
        wp_sql_query(spool->sql, &rows, "SELECT key FROM gone WHERE folder = ?", "i", folder);
    if (status)
        return status;
    while (!status && wp_rows_next(&rows)) {
        uint64_t key = (uint64_t)wp_rows_int(&rows, 0);
        if (!bsearch(&key, keys, count, sizeof key, compare))
            status = wp_bytes_add(&back, &key, sizeof key);
    }
    enum wp_status ended = wp_rows_end(&rows);
    const uint64_t *list = (const uint64_t *)(void *)back.data;
    for (size_t i = 0; !status && !ended && i < back.size / sizeof *list; i++)
        status = wp_sql_run(spool->sql, "DELETE FROM gone WHERE folder = ? AND key = ?", "ii",
                            folder, (int64_t)list[i]);
    wp_bytes_release(&back);
    return status ? status : ended;
}

#define LONG_GONE "folder = ? AND passes >= ? AND since_us <= ?"

static enum wp_status forget(struct wp_spool *spool, int64_t folder, int64_t until_us,
                             uint64_t *keys, size_t count, size_t *forgotten)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(spool->sql, &rows, "SELECT key FROM gone WHERE " LONG_GONE,
                                         "iii", folder, (int64_t)WP_GONE_PASSES, until_us);
    while (!status && *forgotten < count && wp_rows_next(&rows))
        keys[(*forgotten)++] = (uint64_t)wp_rows_int(&rows, 0);
    if (!status)
        status = wp_rows_end(&rows);
    if (!status)
        status = wp_sql_run(spool->sql,
                            "DELETE FROM seen WHERE folder = ? AND key IN (SELECT key FROM gone"
                            " WHERE " LONG_GONE ")",
                            "iiii", folder, folder, (int64_t)WP_GONE_PASSES, until_us);
    if (!status)
        status = wp_sql_run(spool->sql, "DELETE FROM gone WHERE " LONG_GONE, "iii", folder,
                            (int64_t)WP_GONE_PASSES, until_us);
    qsort(keys, *forgotten, sizeof *keys, compare);
    return status;
}

enum wp_status wp_spool_gone(struct wp_spool *spool, int64_t folder, int64_t now_us, uint64_t *keys,
                             size_t count, size_t *forgotten)
{
    SPOOL_LOCKED(spool);
    *forgotten = 0;
    enum wp_status status = spool_begin(spool);
    if (!status) {
        status = note(spool, folder, now_us, keys, count);
        if (!status)
            status = drop_returned(spool, folder, keys, count);
        if (!status)
            status = forget(spool, folder, now_us - WP_GONE_US, keys, count, forgotten);
        status = spool_end(spool, status);
    }
    SPOOL_DONE(spool);
    return status;
}
