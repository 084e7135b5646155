#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "spool_parts.h"

enum wp_status wp_spool_read(struct wp_spool *spool, const char *name, char *out, size_t room)
{
    struct wp_rows rows;
    out[0] = '\0';
    SPOOL_LOCKED(spool);
    enum wp_status status =
        wp_sql_query(spool->sql, &rows, "SELECT value FROM setting WHERE name = ?", "t", name);
    if (!status) {
        if (wp_rows_next(&rows))
            (void)snprintf(out, room, "%s", wp_rows_text(&rows, 0));
        status = wp_rows_end(&rows);
    }
    SPOOL_DONE(spool);
    return status;
}

void wp_spool_text(struct wp_spool *spool, const char *name, char *out, size_t room)
{
    if (wp_spool_read(spool, name, out, room))
        out[0] = '\0';
}

int64_t wp_spool_whole(struct wp_spool *spool, const char *name, int64_t otherwise)
{
    char text[32];
    wp_spool_text(spool, name, text, sizeof text);
    return text[0] ? strtoll(text, NULL, 10) : otherwise;
}

enum wp_status wp_spool_set_text(struct wp_spool *spool, const char *name, const char *value)
{
    SPOOL_LOCKED(spool);
    enum wp_status status = wp_sql_run(spool->sql,
                                       "INSERT INTO setting(name, value) VALUES(?, ?)"
                                       " ON CONFLICT(name) DO UPDATE SET value = excluded.value",
                                       "tt", name, value);
    if (!status && !strcmp(name, "spool_limit"))
        spool->limit = strtoll(value, NULL, 10);
    SPOOL_DONE(spool);
    return status;
}

enum wp_status wp_spool_set_whole(struct wp_spool *spool, const char *name, int64_t value)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%" PRId64, value);
    return wp_spool_set_text(spool, name, text);
}

static void copy_blob(struct wp_rows *rows, int column, char *out, size_t room)
{
    size_t size = 0;
    const void *bytes = wp_rows_blob(rows, column, &size);
    if (size >= room)
        size = room - 1;
    if (size)
        memcpy(out, bytes, size);
    out[size] = '\0';
}

bool wp_spool_next_folder(struct wp_spool *spool, struct wp_spool_folder *folder)
{
    struct wp_rows rows;
    bool found = false;
    SPOOL_LOCKED(spool);
    if (!wp_sql_query(spool->sql, &rows,
                      "SELECT id, path, ready, backfill, joined_us FROM folder WHERE id > ?"
                      " ORDER BY id LIMIT 1",
                      "i", folder->id)) {
        found = wp_rows_next(&rows);
        if (found) {
            folder->id = wp_rows_int(&rows, 0);
            copy_blob(&rows, 1, folder->path, sizeof folder->path);
            folder->ready = wp_rows_int(&rows, 2) != 0;
            folder->backfill = wp_rows_int(&rows, 3) != 0;
            folder->joined_us = wp_rows_int(&rows, 4);
        }
        (void)wp_rows_end(&rows);
    }
    SPOOL_DONE(spool);
    return found;
}

enum wp_status wp_spool_put_folder(struct wp_spool *spool, const char *path, bool backfill,
                                   int64_t joined_us)
{
    SPOOL_LOCKED(spool);
    enum wp_status status =
        wp_sql_run(spool->sql,
                   "INSERT INTO folder(path, ready, backfill, joined_us) VALUES(?, 0, ?, ?)"
                   " ON CONFLICT(path) DO UPDATE SET backfill = excluded.backfill",
                   "bii", path, strlen(path), (int64_t)backfill, joined_us);
    SPOOL_DONE(spool);
    return status;
}

enum wp_status wp_spool_drop_folder(struct wp_spool *spool, const char *path)
{
    SPOOL_LOCKED(spool);
    enum wp_status status = spool_begin(spool);
    if (!status)
        status = wp_sql_run(spool->sql,
                            "DELETE FROM seen WHERE folder IN (SELECT id FROM folder"
                            " WHERE path = ?)",
                            "b", path, strlen(path));
    if (!status)
        status = wp_sql_run(spool->sql,
                            "DELETE FROM gone WHERE folder IN (SELECT id FROM folder"
                            " WHERE path = ?)",
                            "b", path, strlen(path));
    if (!status)
        status =
            wp_sql_run(spool->sql, "DELETE FROM folder WHERE path = ?", "b", path, strlen(path));
    status = spool_end(spool, status);
    SPOOL_DONE(spool);
    return status;
}

enum wp_status wp_spool_folder_ready(struct wp_spool *spool, int64_t folder)
{
    SPOOL_LOCKED(spool);
    enum wp_status status =
        wp_sql_run(spool->sql, "UPDATE folder SET ready = 1 WHERE id = ?", "i", folder);
    SPOOL_DONE(spool);
    return status;
}

bool wp_spool_pattern(struct wp_spool *spool, int64_t n, char *out, size_t room, bool *exclude)
{
    struct wp_rows rows;
    bool found = false;
    SPOOL_LOCKED(spool);
    if (!wp_sql_query(spool->sql, &rows,
                      "SELECT glob, exclude FROM pattern ORDER BY id LIMIT 1 OFFSET ?", "i", n)) {
        found = wp_rows_next(&rows);
        if (found) {
            (void)snprintf(out, room, "%s", wp_rows_text(&rows, 0));
            *exclude = wp_rows_int(&rows, 1) != 0;
        }
        (void)wp_rows_end(&rows);
    }
    SPOOL_DONE(spool);
    return found;
}

enum wp_status wp_spool_drop_patterns(struct wp_spool *spool)
{
    SPOOL_LOCKED(spool);
    enum wp_status status = wp_sql_run(spool->sql, "DELETE FROM pattern", "");
    SPOOL_DONE(spool);
    return status;
}

enum wp_status wp_spool_add_pattern(struct wp_spool *spool, const char *pattern, bool exclude)
{
    SPOOL_LOCKED(spool);
    enum wp_status status =
        wp_sql_run(spool->sql, "INSERT INTO pattern(exclude, glob) VALUES(?, ?)", "it",
                   (int64_t)exclude, pattern);
    SPOOL_DONE(spool);
    return status;
}

enum wp_status wp_spool_each_seen(struct wp_spool *spool, int64_t folder, wp_spool_seen_fn fn,
                                  void *arg)
{
    struct wp_rows rows;
    bool more = true;
    SPOOL_LOCKED(spool);
    enum wp_status status =
        wp_sql_query(spool->sql, &rows, "SELECT key, mark FROM seen WHERE folder = ?", "i", folder);
    if (!status) {
        while (more && wp_rows_next(&rows))
            more = fn(arg, (uint64_t)wp_rows_int(&rows, 0), (uint64_t)wp_rows_int(&rows, 1));
        status = wp_rows_end(&rows);
    }
    SPOOL_DONE(spool);
    return status || more ? status : WP_NO_MEMORY;
}

enum wp_status wp_spool_mark(struct wp_spool *spool, int64_t folder,
                             const struct wp_seen_pair *pairs, size_t count)
{
    SPOOL_LOCKED(spool);
    enum wp_status status = spool_begin(spool);
    for (size_t i = 0; !status && i < count; i++)
        status = wp_sql_run(spool->sql,
                            "INSERT INTO seen(folder, key, mark) VALUES(?, ?, ?)"
                            " ON CONFLICT(folder, key) DO UPDATE SET mark = excluded.mark",
                            "iii", folder, (int64_t)pairs[i].key, (int64_t)pairs[i].mark);
    status = spool_end(spool, status);
    SPOOL_DONE(spool);
    return status;
}
