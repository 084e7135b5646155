#include <string.h>

#include "sql.h"

void sql_forget(struct wp_sql *sql)
{
    for (size_t i = 0; i < SQL_SLOTS; i++) {
        (void)sqlite3_finalize(sql->slots[i].statement);
        sql->slots[i] = (struct sql_slot){0};
    }
    sql->used = 0;
}

/* The slot that holds `text`, or the free one where it belongs. */
static struct sql_slot *find_slot(struct wp_sql *sql, const char *text)
{
    size_t at = (size_t)(((uintptr_t)text >> 2) * UINT64_C(0x9E3779B97F4A7C15) >> 48);
    for (;; at++) {
        struct sql_slot *slot = &sql->slots[at % SQL_SLOTS];
        if (!slot->text || slot->text == text)
            return slot;
    }
}

static enum wp_status compile(struct wp_sql *sql, const char *text, struct sql_slot *slot)
{
    sqlite3_stmt *statement = NULL;
    int code =
        sqlite3_prepare_v3(sql->handle, text, -1, SQLITE_PREPARE_PERSISTENT, &statement, NULL);
    if (code != SQLITE_OK)
        return sql_status(sql, code);
    if (!statement) {
        sql->misuse = "the statement is empty";
        return WP_INVALID;
    }
    if (!slot->text)
        sql->used++;
    *slot = (struct sql_slot){.text = text, .statement = statement};
    return WP_OK;
}

enum wp_status sql_prepare(struct wp_sql *sql, const char *text, sqlite3_stmt **statement)
{
    sql->misuse = NULL;
    if (sql->used >= SQL_SLOTS_USED && sql->readings == 0)
        sql_forget(sql);
    if (sql->used >= SQL_SLOTS - 1) {
        sql->misuse = "too many different statements";
        return WP_INVALID;
    }
    struct sql_slot *slot = find_slot(sql, text);
    if (slot->statement && sqlite3_stmt_busy(slot->statement)) {
        sql->misuse = "the statement is being read already";
        return WP_INVALID;
    }
    /* The address alone would mistake a text built in a reused buffer for the one before it. */
    if (slot->statement && strcmp(sqlite3_sql(slot->statement), text) != 0) {
        (void)sqlite3_finalize(slot->statement);
        slot->statement = NULL;
    }
    if (!slot->statement) {
        enum wp_status status = compile(sql, text, slot);
        if (status)
            return status;
    }
    *statement = slot->statement;
    return WP_OK;
}

static int bind_one(struct wp_sql *sql, sqlite3_stmt *statement, int at, char type, va_list *values,
                    sqlite3_destructor_type keep)
{
    switch (type) {
    case 'i':
        return sqlite3_bind_int64(statement, at, va_arg(*values, int64_t));
    case 'd':
        return sqlite3_bind_double(statement, at, va_arg(*values, double));
    case 't': {
        const char *text = va_arg(*values, const char *);
        size_t size = text ? strlen(text) : 0;
        sql->bound += size;
        return sqlite3_bind_text64(statement, at, text, size, keep, SQLITE_UTF8);
    }
    case 'b': {
        const void *data = va_arg(*values, const void *);
        size_t size = va_arg(*values, size_t);
        if (!data)
            return sqlite3_bind_null(statement, at);
        sql->bound += size;
        return sqlite3_bind_blob64(statement, at, data, size, keep);
    }
    case 'n':
        return sqlite3_bind_null(statement, at);
    default:
        return SQLITE_MISUSE;
    }
}

enum wp_status sql_bind(struct wp_sql *sql, sqlite3_stmt *statement, const char *types,
                        va_list values, sqlite3_destructor_type keep)
{
    if ((size_t)sqlite3_bind_parameter_count(statement) != strlen(types)) {
        sql->misuse = "the statement takes another number of values";
        return WP_INVALID;
    }
    va_list rest;
    va_copy(rest, values);
    int code = SQLITE_OK;
    for (int i = 0; types[i] && code == SQLITE_OK; i++)
        code = bind_one(sql, statement, i + 1, types[i], &rest, keep);
    va_end(rest);
    return sql_status(sql, code);
}

enum wp_status wp_sql_run(struct wp_sql *sql, const char *text, const char *types, ...)
{
    sqlite3_stmt *statement;
    enum wp_status status = sql_prepare(sql, text, &statement);
    if (status)
        return status;
    va_list values;
    va_start(values, types);
    status = sql_bind(sql, statement, types, values, SQLITE_STATIC);
    va_end(values);
    if (!status) {
        int code = sqlite3_step(statement);
        status = sql_status(sql, code);
        if (code == SQLITE_ROW) {
            sql->misuse = "the statement returns rows: read them";
            status = WP_INVALID;
        }
    }
    (void)sqlite3_reset(statement);
    (void)sqlite3_clear_bindings(statement);
    return status;
}
