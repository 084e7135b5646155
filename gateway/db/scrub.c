/* Nothing that was deleted stays in the file. secure_delete alone would not do: it came too late
 * for what was changed before, and what a split or a merge of pages leaves behind it does not
 * reach. */
#include <sqlite3.h>

#include "base/clock.h"
#include "base/log.h"
#include "parts.h"

#define TRIES 40
#define TRY_MS 250

void wp_db_scrub(struct wp_db *db)
{
    (void)pthread_mutex_lock(&db->mutex);
    db->scrub_asked = db->started && !db->stopping && !db->broken;
    (void)pthread_cond_signal(&db->writes.work_there);
    (void)pthread_mutex_unlock(&db->mutex);
}

static bool take_asked(struct wp_db *db)
{
    (void)pthread_mutex_lock(&db->mutex);
    bool asked = db->scrub_asked && !db->stopping && !db->broken;
    db->scrub_asked = false;
    (void)pthread_mutex_unlock(&db->mutex);
    return asked;
}

static bool is_stopping(struct wp_db *db)
{
    (void)pthread_mutex_lock(&db->mutex);
    bool stopping = db->stopping;
    (void)pthread_mutex_unlock(&db->mutex);
    return stopping;
}

/* Copies the whole log and cuts it to nothing, once no reader needs an older state. */
static enum wp_status cut_log(struct wp_db *db)
{
    sqlite3 *handle = wp_sql_handle(db->sql);
    int code = SQLITE_BUSY;
    /* Short waits, so that a gateway that is to stop is not kept from it by somebody else's reader.
     */
    (void)sqlite3_busy_timeout(handle, TRY_MS);
    for (int i = 0; i < TRIES && code == SQLITE_BUSY && !is_stopping(db); i++)
        code = sqlite3_wal_checkpoint_v2(handle, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
    (void)sqlite3_busy_timeout(handle, WP_SQL_BUSY_MS);
    if (code == SQLITE_OK)
        atomic_store(&db->wal_bytes, 0);
    return code == SQLITE_OK ? WP_OK : code == SQLITE_BUSY ? WP_RETRY : WP_IO;
}

static enum wp_status scrub(struct wp_db *db)
{
    /* The copy that VACUUM makes goes to a file: it is as large as the database. */
    enum wp_status status = wp_sql_script(db->sql, "PRAGMA temp_store = FILE; VACUUM");
    if (!status)
        status = cut_log(db);
    if (!status)
        status = wp_sql_run(db->sql, "DELETE FROM setting WHERE name = 'scrub.wanted'", "");
    enum wp_status back = wp_sql_script(db->sql, "PRAGMA temp_store = MEMORY");
    return status ? status : back;
}

bool db_scrub_if_asked(struct wp_db *db)
{
    if (!take_asked(db))
        return false;
    int64_t from = wp_clock_steady();
    enum wp_status status = scrub(db);
    if (status == WP_BROKEN)
        db_break(db, "the database could not be rewritten");
    else if (status)
        wp_log(WP_LOG_WARN, "db", "what was deleted could not be wiped: %s (%s); tried again later",
               wp_sql_message(db->sql), wp_status_name(status));
    else
        wp_log(WP_LOG_INFO, "db", "what was deleted is wiped, in %lld ms",
               (long long)((wp_clock_steady() - from) / 1000));
    return true;
}
