/* sql.h - what the files of this room share. */
#ifndef SQL_SQL_H
#define SQL_SQL_H

#include <sqlite3.h>
#include <stdarg.h>

#include "base/sql.h"

/* Slots for prepared statements; a power of two. The gateway has some two hundred. */
#define SQL_SLOTS 1024
#define SQL_SLOTS_USED (SQL_SLOTS / 4 * 3)

struct sql_slot {
    const char *text; /* NULL: free */
    sqlite3_stmt *statement;
};

struct wp_sql {
    sqlite3 *handle;
    const char *misuse; /* says what was wrong with the last call; NULL: ask SQLite */
    uint64_t bound;     /* bytes of text and blobs */
    size_t used;
    size_t readings; /* begun and not ended */
    struct sql_slot slots[SQL_SLOTS];
};

/* The outcome of an SQLite call as one of ours. */
enum wp_status sql_status(const struct wp_sql *sql, int code);

/* The prepared statement of `text`, reset and without values. WP_INVALID if it is being read. */
enum wp_status sql_prepare(struct wp_sql *sql, const char *text, sqlite3_stmt **statement);

/* Binds `values` by `types`. `keep` is SQLITE_STATIC where the values outlive the statement's run.
 */
enum wp_status sql_bind(struct wp_sql *sql, sqlite3_stmt *statement, const char *types,
                        va_list values, sqlite3_destructor_type keep);

/* Finalizes every statement. */
void sql_forget(struct wp_sql *sql);

#endif
