#include "sql.h"

static void finish(struct wp_rows *rows)
{
    (void)sqlite3_reset(rows->statement);
    (void)sqlite3_clear_bindings(rows->statement);
    rows->statement = NULL;
    rows->sql->readings--;
}

static enum wp_status query(struct wp_sql *sql, struct wp_rows *rows, const char *text,
                            const char *types, va_list values)
{
    *rows = (struct wp_rows){.sql = sql};
    sqlite3_stmt *statement;
    rows->status = sql_prepare(sql, text, &statement);
    if (rows->status)
        return rows->status;
    rows->status = sql_bind(sql, statement, types, values, SQLITE_TRANSIENT);
    rows->statement = statement;
    sql->readings++;
    if (rows->status)
        finish(rows);
    return rows->status;
}

enum wp_status wp_sql_query(struct wp_sql *sql, struct wp_rows *rows, const char *text,
                            const char *types, ...)
{
    va_list values;
    va_start(values, types);
    enum wp_status status = query(sql, rows, text, types, values);
    va_end(values);
    return status;
}

bool wp_rows_next(struct wp_rows *rows)
{
    if (rows->status || !rows->statement)
        return false;
    int code = sqlite3_step(rows->statement);
    if (code == SQLITE_ROW)
        return true;
    rows->status = sql_status(rows->sql, code);
    /* Reset at once: a statement left at its end would start again at the next step. */
    finish(rows);
    return false;
}

enum wp_status wp_rows_end(struct wp_rows *rows)
{
    if (rows->statement)
        finish(rows);
    return rows->status;
}

int64_t wp_rows_int(struct wp_rows *rows, int column)
{
    return sqlite3_column_int64(rows->statement, column);
}

double wp_rows_double(struct wp_rows *rows, int column)
{
    return sqlite3_column_double(rows->statement, column);
}

const char *wp_rows_text(struct wp_rows *rows, int column)
{
    return (const char *)sqlite3_column_text(rows->statement, column);
}

const void *wp_rows_blob(struct wp_rows *rows, int column, size_t *size)
{
    static const char empty[1];
    if (size)
        *size = (size_t)sqlite3_column_bytes(rows->statement, column);
    const void *data = sqlite3_column_blob(rows->statement, column);
    /* SQLite gives NULL for an empty blob too; here NULL means the SQL value NULL. */
    return data || wp_rows_null(rows, column) ? data : empty;
}

bool wp_rows_null(struct wp_rows *rows, int column)
{
    return sqlite3_column_type(rows->statement, column) == SQLITE_NULL;
}

int wp_rows_columns(struct wp_rows *rows)
{
    return sqlite3_column_count(rows->statement);
}

const char *wp_rows_name(struct wp_rows *rows, int column)
{
    return sqlite3_column_name(rows->statement, column);
}

enum wp_status wp_sql_int(struct wp_sql *sql, int64_t *value, const char *text, const char *types,
                          ...)
{
    struct wp_rows rows;
    va_list values;
    va_start(values, types);
    (void)query(sql, &rows, text, types, values);
    va_end(values);
    bool found = wp_rows_next(&rows);
    if (found)
        *value = wp_rows_int(&rows, 0);
    enum wp_status status = wp_rows_end(&rows);
    return !status && !found ? WP_NOT_FOUND : status;
}
