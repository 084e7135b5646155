#include "rows.h"

#include <sqlite3.h>
#include <string.h>

cJSON *wp_row_value(struct wp_rows *rows, int column)
{
    if (wp_rows_null(rows, column))
        return cJSON_CreateNull();
    switch (sqlite3_column_type(rows->statement, column)) {
    case SQLITE_INTEGER:
        return cJSON_CreateNumber((double)wp_rows_int(rows, column));
    case SQLITE_FLOAT:
        return cJSON_CreateNumber(wp_rows_double(rows, column));
    default:
        return cJSON_CreateString(wp_rows_text(rows, column));
    }
}

cJSON *wp_row_object(struct wp_rows *rows)
{
    cJSON *object = cJSON_CreateObject();
    int columns = wp_rows_columns(rows);
    for (int i = 0; object && i < columns; i++) {
        char name[64];
        const char *column = wp_rows_name(rows, i);
        size_t length = strlen(column);
        cJSON *value = NULL;
        if (length >= sizeof name)
            continue;
        memcpy(name, column, length + 1);
        if (length > 1 && name[length - 1] == '?') {
            name[length - 1] = '\0';
            value = cJSON_CreateBool(wp_rows_int(rows, i) != 0);
        } else if (length > 2 && !strcmp(name + length - 2, "{}")) {
            name[length - 2] = '\0';
            const char *text = wp_rows_text(rows, i);
            value = text ? cJSON_Parse(text) : NULL;
            if (!value)
                value = cJSON_CreateNull();
        } else {
            value = wp_row_value(rows, i);
        }
        cJSON_AddItemToObject(object, name, value);
    }
    return object;
}

enum wp_status wp_rows_array(struct wp_rows *rows, cJSON **out)
{
    *out = cJSON_CreateArray();
    while (wp_rows_next(rows))
        cJSON_AddItemToArray(*out, wp_row_object(rows));
    return wp_rows_end(rows);
}

enum wp_status wp_add_rows(struct wp_sql *sql, cJSON *object, const char *name, const char *text,
                           const char *types, int64_t a, int64_t b)
{
    struct wp_rows rows;
    cJSON *array = NULL;
    enum wp_status status = wp_sql_query(sql, &rows, text, types, a, b);
    if (!status)
        status = wp_rows_array(&rows, &array);
    cJSON_AddItemToObject(object, name, array ? array : cJSON_CreateArray());
    return status;
}
