#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "sql.h"

enum wp_status sql_status(const struct wp_sql *sql, int code)
{
    /* SQLite knows only ENOSPC as "full"; a quota or a file size limit is the same to us. */
    if ((code & 0xFF) == SQLITE_IOERR) {
        int cause = sqlite3_system_errno(sql->handle);
        if (code == SQLITE_IOERR_WRITE && (cause == EDQUOT || cause == EFBIG))
            return WP_FULL;
        return code == SQLITE_IOERR_NOMEM ? WP_NO_MEMORY : WP_BROKEN;
    }
    switch (code & 0xFF) {
    case SQLITE_OK:
    case SQLITE_ROW:
    case SQLITE_DONE:
        return WP_OK;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
    case SQLITE_INTERRUPT:
        return WP_RETRY;
    case SQLITE_CONSTRAINT:
        return WP_CONSTRAINT;
    case SQLITE_FULL:
        return WP_FULL;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
    case SQLITE_CANTOPEN:
    case SQLITE_PROTOCOL:
        return WP_BROKEN;
    case SQLITE_NOMEM:
        return WP_NO_MEMORY;
    case SQLITE_TOOBIG:
        return WP_TOO_LARGE;
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return WP_IO;
    default:
        return WP_INVALID;
    }
}

/* secure_delete is off because Debian builds SQLite with it on, and overwriting each staged body
 * with zeros doubles what the writer writes. */
static const char *pragmas(enum wp_sql_mode mode)
{
    switch (mode) {
    case WP_SQL_READ:
        return "PRAGMA query_only = ON; PRAGMA cache_size = -8192; PRAGMA temp_store = MEMORY";
    case WP_SQL_WRITE:
        return "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;"
               "PRAGMA secure_delete = OFF; PRAGMA cache_size = -32768; PRAGMA temp_store = MEMORY";
    default:
        return "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;"
               "PRAGMA secure_delete = OFF; PRAGMA cache_size = -256; PRAGMA temp_store = MEMORY";
    }
}

static enum wp_status configure(struct wp_sql *sql, enum wp_sql_mode mode)
{
    (void)sqlite3_extended_result_codes(sql->handle, 1);
    (void)sqlite3_busy_timeout(sql->handle, WP_SQL_BUSY_MS);
    (void)sqlite3_db_config(sql->handle, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    (void)sqlite3_db_config(sql->handle, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    return wp_sql_script(sql, pragmas(mode));
}

enum wp_status wp_sql_open(const char *path, enum wp_sql_mode mode, struct wp_sql **sql,
                           struct wp_error *error)
{
    *sql = NULL;
    struct wp_sql *opened = calloc(1, sizeof *opened);
    if (!opened)
        return wp_fail(error, WP_NO_MEMORY, "no memory for a database connection");
    int flags =
        mode == WP_SQL_READ ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE;
    int code = sqlite3_open_v2(path, &opened->handle, flags | SQLITE_OPEN_NOMUTEX, NULL);
    enum wp_status status = opened->handle ? sql_status(opened, code) : WP_NO_MEMORY;
    if (!status)
        status = configure(opened, mode);
    if (status) {
        (void)wp_fail(error, status, "%s: %s", path, wp_sql_message(opened));
        wp_sql_close(opened);
        return status;
    }
    *sql = opened;
    return WP_OK;
}

void wp_sql_close(struct wp_sql *sql)
{
    if (!sql)
        return;
    sql_forget(sql);
    (void)sqlite3_close_v2(sql->handle);
    free(sql);
}

enum wp_status wp_sql_script(struct wp_sql *sql, const char *text)
{
    sql->misuse = NULL;
    return sql_status(sql, sqlite3_exec(sql->handle, text, NULL, NULL, NULL));
}

int64_t wp_sql_changes(const struct wp_sql *sql)
{
    return sqlite3_changes64(sql->handle);
}

uint64_t wp_sql_bound(const struct wp_sql *sql)
{
    return sql->bound;
}

const char *wp_sql_message(const struct wp_sql *sql)
{
    if (sql->misuse)
        return sql->misuse;
    return sql->handle ? sqlite3_errmsg(sql->handle) : "no memory";
}

struct sqlite3 *wp_sql_handle(struct wp_sql *sql)
{
    return sql->handle;
}
