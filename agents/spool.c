#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "spool_parts.h"

#define DEFAULT_LIMIT (INT64_C(1) << 30)
#define PATH_ROOM 4300

static const char tables[] =
    "CREATE TABLE IF NOT EXISTS setting(name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;"
    "CREATE TABLE IF NOT EXISTS folder(id INTEGER PRIMARY KEY, path BLOB NOT NULL UNIQUE,"
    " ready INTEGER NOT NULL, backfill INTEGER NOT NULL, joined_us INTEGER NOT NULL) STRICT;"
    "CREATE TABLE IF NOT EXISTS pattern(id INTEGER PRIMARY KEY, exclude INTEGER NOT NULL,"
    " glob TEXT NOT NULL) STRICT;"
    "CREATE TABLE IF NOT EXISTS capture(number INTEGER PRIMARY KEY, state INTEGER NOT NULL,"
    " backfill INTEGER NOT NULL, folder INTEGER NOT NULL, path BLOB NOT NULL,"
    " size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, ctime_ns INTEGER NOT NULL,"
    " inode INTEGER NOT NULL, captured_us INTEGER NOT NULL, steady_us INTEGER NOT NULL,"
    " boot_id TEXT NOT NULL, sha256 BLOB NOT NULL, said TEXT) STRICT;"
    "CREATE INDEX IF NOT EXISTS capture_order ON capture(state, backfill, number);"
    "CREATE INDEX IF NOT EXISTS capture_look ON capture(mtime_ns, inode);"
    "CREATE TABLE IF NOT EXISTS body(number INTEGER PRIMARY KEY, bytes BLOB NOT NULL) STRICT;"
    "CREATE TABLE IF NOT EXISTS seen(folder INTEGER NOT NULL, key INTEGER NOT NULL,"
    " mark INTEGER NOT NULL, PRIMARY KEY(folder, key)) STRICT, WITHOUT ROWID;"
    "CREATE TABLE IF NOT EXISTS gone(folder INTEGER NOT NULL, key INTEGER NOT NULL,"
    " since_us INTEGER NOT NULL, passes INTEGER NOT NULL, PRIMARY KEY(folder, key)) STRICT,"
    " WITHOUT ROWID";

/* Pages of receipted bytes go back to the disk bit by bit; that must be chosen before the first
 * table is made. */
static enum wp_status prepare(struct wp_spool *spool)
{
    int64_t vacuum = 0;
    enum wp_status status = wp_sql_int(spool->sql, &vacuum, "PRAGMA auto_vacuum", "");
    if (!status && vacuum != 2)
        status = wp_sql_script(spool->sql, "PRAGMA auto_vacuum = 2; VACUUM");
    if (!status)
        status = wp_sql_script(spool->sql, "PRAGMA wal_autocheckpoint = 256");
    if (!status)
        status = wp_sql_script(spool->sql, tables);
    return status;
}

enum wp_status spool_count(struct wp_spool *spool)
{
    static const char sums[] = "SELECT state, backfill, COUNT(*), SUM(size) FROM capture"
                               " WHERE state IN (0, 2) GROUP BY state, backfill";
    struct wp_rows rows;
    spool->waiting = spool->waiting_bytes = spool->waiting_backfill = 0;
    spool->refused = spool->refused_bytes = 0;
    enum wp_status status = wp_sql_query(spool->sql, &rows, sums, "");
    while (!status && wp_rows_next(&rows)) {
        int64_t count = wp_rows_int(&rows, 2);
        int64_t bytes = wp_rows_int(&rows, 3);
        if (wp_rows_int(&rows, 0) == REFUSED) {
            spool->refused += count;
            spool->refused_bytes += bytes;
            continue;
        }
        spool->waiting += count;
        spool->waiting_bytes += bytes;
        spool->waiting_backfill += wp_rows_int(&rows, 1) ? count : 0;
    }
    if (!status)
        status = wp_rows_end(&rows);
    if (!status)
        status = wp_sql_int(spool->sql, &spool->last_number, "SELECT MAX(number) FROM capture", "");
    if (!status && spool->last_number)
        status =
            wp_sql_int(spool->sql, &spool->last_us,
                       "SELECT captured_us FROM capture WHERE number = ?", "i", spool->last_number);
    return status;
}

static enum wp_status open_as(const char *folder, enum wp_sql_mode mode, struct wp_spool **spool,
                              struct wp_error *error)
{
    char path[PATH_ROOM];
    *spool = NULL;
    if ((size_t)snprintf(path, sizeof path, "%s/spool.db", folder) >= sizeof path)
        return wp_fail(error, WP_INVALID, "the state folder's path is too long");
    struct wp_spool *opened = calloc(1, sizeof *opened);
    if (!opened || uv_mutex_init(&opened->lock)) {
        free(opened);
        return wp_fail(error, WP_NO_MEMORY, "no memory for the spool");
    }
    enum wp_status status = wp_sql_open(path, mode, &opened->sql, error);
    if (!status) {
        if (mode != WP_SQL_READ)
            status = prepare(opened);
        if (!status)
            status = spool_count(opened);
        if (status)
            (void)wp_fail(error, status, "%s: %s", path, wp_sql_message(opened->sql));
    }
    if (status) {
        wp_spool_close(opened);
        return status;
    }
    (void)snprintf(opened->folder, sizeof opened->folder, "%s", folder);
    opened->limit = wp_spool_whole(opened, "spool_limit", DEFAULT_LIMIT);
    *spool = opened;
    return WP_OK;
}

enum wp_status wp_spool_open(const char *folder, struct wp_spool **spool, struct wp_error *error)
{
    return open_as(folder, WP_SQL_LIGHT, spool, error);
}

enum wp_status wp_spool_open_to_read(const char *folder, struct wp_spool **spool,
                                     struct wp_error *error)
{
    char path[PATH_ROOM];
    (void)snprintf(path, sizeof path, "%s/spool.db", folder);
    FILE *there = fopen(path, "rb");
    *spool = NULL;
    if (!there && errno == EACCES)
        return wp_fail(error, WP_NOT_FOUND,
                       "this account may not look into %s; run it as the agent's account or as "
                       "root",
                       folder);
    if (!there)
        return wp_fail(error, WP_NOT_FOUND,
                       "there is no agent in %s. Join first. If it had joined, the folder was "
                       "emptied: a PC that is put back to an image at each start needs its state "
                       "folder on a disk that is not put back",
                       folder);
    (void)fclose(there);
    return open_as(folder, WP_SQL_READ, spool, error);
}

void wp_spool_close(struct wp_spool *spool)
{
    if (!spool)
        return;
    wp_sql_close(spool->sql);
    uv_mutex_destroy(&spool->lock);
    free(spool);
}

const char *wp_spool_message(struct wp_spool *spool)
{
    return wp_sql_message(spool->sql);
}

enum wp_status spool_begin(struct wp_spool *spool)
{
    return wp_sql_script(spool->sql, "BEGIN IMMEDIATE");
}

enum wp_status spool_end(struct wp_spool *spool, enum wp_status status)
{
    if (!status)
        status = wp_sql_script(spool->sql, "COMMIT");
    if (status)
        (void)wp_sql_script(spool->sql, "ROLLBACK");
    return status;
}

void wp_spool_load(struct wp_spool *spool, struct wp_spool_load *load)
{
    SPOOL_LOCKED(spool);
    *load = (struct wp_spool_load){
        .waiting = spool->waiting,
        .waiting_bytes = spool->waiting_bytes,
        .waiting_backfill = spool->waiting_backfill,
        .refused = spool->refused,
        .refused_bytes = spool->refused_bytes,
        .limit = spool->limit,
        .last_number = spool->last_number,
        .last_us = spool->last_us,
    };
    if (spool->waiting)
        (void)wp_sql_int(spool->sql, &load->oldest_us,
                         "SELECT captured_us FROM capture WHERE state = 0 ORDER BY number LIMIT 1",
                         "");
    SPOOL_DONE(spool);
}
