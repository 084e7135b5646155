/* base/sql.h - SQL statements on one SQLite connection, with errors as types.
 *
 * A connection keeps its prepared statements (found again by the address of the text, so pass
 * string literals). Values are bound by a string of type letters:
 *
 *   i  int64_t          d  double            t  const char * (NULL binds NULL)
 *   b  const void *, size_t (NULL binds NULL)  n  nothing, binds NULL
 *
 * Example: wp_sql_run(sql, "UPDATE turn SET closed_us = ? WHERE id = ?", "ii", now, id);
 * Integers must be passed as int64_t: cast what is not.
 *
 * Thread: a connection belongs to one thread at a time.
 */
#ifndef BASE_SQL_H
#define BASE_SQL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/status.h"

struct wp_sql;
struct sqlite3;

enum wp_sql_mode {
    WP_SQL_READ,  /* reading only; the file must exist */
    WP_SQL_WRITE, /* reading and writing, created if missing, WAL, synchronous=FULL */
    WP_SQL_LIGHT  /* as WRITE with a small page cache: for the agent's spool */
};

/* How long a statement waits for somebody else's lock. */
#define WP_SQL_BUSY_MS 5000

/* Opens `path`. On success the caller closes `*sql`. foreign_keys on, waits WP_SQL_BUSY_MS. */
enum wp_status wp_sql_open(const char *path, enum wp_sql_mode mode, struct wp_sql **sql,
                           struct wp_error *error);
void wp_sql_close(struct wp_sql *sql);

/* Runs several statements separated by ';' (migrations, pragmas, BEGIN). Errors as wp_sql_run. */
enum wp_status wp_sql_script(struct wp_sql *sql, const char *text);

/* Runs one statement that returns no rows. WP_CONSTRAINT, WP_FULL (disk, quota or file size),
 * WP_RETRY (busy), WP_BROKEN (I/O error, corrupt file, not a database), WP_NO_MEMORY, WP_TOO_LARGE
 * (a value above SQLite's limit), WP_IO (read-only), WP_INVALID (a wrong statement). The values are
 * borrowed until it returns. */
enum wp_status wp_sql_run(struct wp_sql *sql, const char *text, const char *types, ...);

/* Rows changed by the last wp_sql_run. */
int64_t wp_sql_changes(const struct wp_sql *sql);

/* Bytes of text and blobs bound since the connection was opened: how much a writer has written. */
uint64_t wp_sql_bound(const struct wp_sql *sql);

/* A reading of rows. Begin, step with next until it is false, then end. The statement is reset by
 * end, which returns the first error there was; the columns may be read only after a next that was
 * true. The values are copied. At most one reading of the same text at a time (WP_INVALID). */
struct wp_rows {
    struct wp_sql *sql;
    void *statement;
    enum wp_status status;
};
enum wp_status wp_sql_query(struct wp_sql *sql, struct wp_rows *rows, const char *text,
                            const char *types, ...);
bool wp_rows_next(struct wp_rows *rows);
enum wp_status wp_rows_end(struct wp_rows *rows);

/* Columns from 0. Text and blob belong to the row and are gone at the next step. Text of a NULL is
 * NULL; blob of a NULL is NULL with size 0; int and double of a NULL are 0. */
int64_t wp_rows_int(struct wp_rows *rows, int column);
double wp_rows_double(struct wp_rows *rows, int column);
const char *wp_rows_text(struct wp_rows *rows, int column);
const void *wp_rows_blob(struct wp_rows *rows, int column, size_t *size);
bool wp_rows_null(struct wp_rows *rows, int column);
int wp_rows_columns(struct wp_rows *rows);
const char *wp_rows_name(struct wp_rows *rows, int column);

/* One integer of one row. WP_NOT_FOUND if there is no row (`*value` untouched); NULL gives 0. */
enum wp_status wp_sql_int(struct wp_sql *sql, int64_t *value, const char *text, const char *types,
                          ...);

/* The last error's text, for logs. Never NULL. */
const char *wp_sql_message(const struct wp_sql *sql);

/* The connection itself, for backup and checkpoint code only. */
struct sqlite3 *wp_sql_handle(struct wp_sql *sql);

#endif
