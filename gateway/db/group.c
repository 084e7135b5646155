#include <sqlite3.h>

#include "base/clock.h"
#include "base/log.h"
#include "parts.h"

static void settle(struct db_item *item, enum wp_status status)
{
    item->status = status;
    item->settled = true;
}

static void settle_rest(struct db_item **group, size_t count, enum wp_status status)
{
    for (size_t i = 0; i < count; i++)
        if (!group[i]->settled)
            settle(group[i], status);
}

/* SQLite may end a transaction by itself, after a full disk, an I/O error or a lack of memory. */
static bool transaction_gone(struct wp_db *db)
{
    return sqlite3_get_autocommit(wp_sql_handle(db->sql)) != 0;
}

/* Undoes everything since BEGIN. The mark may have been part of it, so it is written anew. */
static void roll_back(struct wp_db *db)
{
    if (!transaction_gone(db))
        (void)wp_sql_run(db->sql, "ROLLBACK", "");
    db->mark = 0;
}

/* One job in a savepoint of its own. */
static enum wp_status run_job(struct wp_db *db, struct db_item *item)
{
    struct wp_txn txn = {.sql = db->sql, .now = wp_clock_utc()};
    enum wp_status status = wp_sql_run(db->sql, "SAVEPOINT job", "");
    if (status)
        return status;
    status = item->write(&txn, item->job);
    if (!status)
        return wp_sql_run(db->sql, "RELEASE job", "");
    if (transaction_gone(db))
        return status;
    if (txn.keep) {
        enum wp_status kept = wp_sql_run(db->sql, "RELEASE job", "");
        return kept ? kept : status;
    }
    enum wp_status undone = wp_sql_run(db->sql, "ROLLBACK TO job", "");
    if (!undone)
        undone = wp_sql_run(db->sql, "RELEASE job", "");
    return undone ? WP_BROKEN : status;
}

enum outcome { READY, AGAIN, BROKEN };

/* Runs the unsettled jobs up to the bound of bytes; `*end` is where it stopped. AGAIN: one job took
 * the whole transaction with it and is settled, the others must run again. */
static enum outcome run_jobs(struct wp_db *db, struct db_item **group, size_t count, size_t *end)
{
    uint64_t from = wp_sql_bound(db->sql);
    for (*end = 0; *end < count && wp_sql_bound(db->sql) - from < DB_GROUP_BYTES; (*end)++) {
        struct db_item *item = group[*end];
        if (item->settled)
            continue;
        enum wp_status status = run_job(db, item);
        if (status)
            settle(item, status);
        if (status == WP_BROKEN)
            return BROKEN;
        if (transaction_gone(db)) {
            if (!item->settled)
                settle(item, WP_FULL);
            return AGAIN;
        }
    }
    return READY;
}

static enum wp_status commit(struct wp_db *db)
{
    enum wp_status status = db_mark_keep(db);
    return status ? status : wp_sql_run(db->sql, "COMMIT", "");
}

/* Storage that failed is not asked again: what is on disk is known only after a recovery. */
static enum wp_status broken(struct wp_db *db, struct db_item **group, size_t count)
{
    bool ours = sqlite3_errcode(wp_sql_handle(db->sql)) == SQLITE_OK;
    wp_log(WP_LOG_ERROR, "db", "storage failed: %s",
           ours ? "a job found it broken" : wp_sql_message(db->sql));
    roll_back(db);
    for (size_t i = 0; i < count; i++)
        settle(group[i], WP_BROKEN);
    return WP_BROKEN;
}

enum wp_status db_run_group(struct wp_db *db, struct db_item **group, size_t count)
{
    size_t end = 0;
    enum outcome outcome = AGAIN;
    /* Each turn settles one job at least, so the turns are bounded by the jobs. */
    while (outcome == AGAIN) {
        enum wp_status status = wp_sql_run(db->sql, "BEGIN IMMEDIATE", "");
        if (status == WP_BROKEN)
            return broken(db, group, count);
        if (status) {
            settle_rest(group, count, status);
            return WP_OK;
        }
        outcome = run_jobs(db, group, count, &end);
        if (outcome != READY)
            roll_back(db);
    }
    enum wp_status status = outcome == BROKEN ? WP_BROKEN : commit(db);
    if (status == WP_BROKEN)
        return broken(db, group, count);
    if (status)
        roll_back(db);
    else
        atomic_fetch_add(&db->commits, 1);
    settle_rest(group, end, status);
    return WP_OK;
}
