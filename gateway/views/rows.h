/* rows.h - from rows to JSON, for views. Private. */
#ifndef VIEWS_ROWS_H
#define VIEWS_ROWS_H

#include <cjson/cJSON.h>

#include "base/sql.h"

/* Given name and the first letter of the family name, or the alias; letters of any script. A family
 * name of one letter would stand there whole, so it is left out. `p` is the person. */
#define WP_SHORT_NAME                                                                              \
    "CASE WHEN p.alias <> '' THEN p.alias WHEN p.given = '' THEN p.family WHEN "                   \
    "length(p.family) <= 1 THEN p.given ELSE p.given || ' ' || substr(p.family, 1, 1) || '.' END " \
    "AS name "

/* A value of the row as JSON: whole number, number, text; NULL as null. */
cJSON *wp_row_value(struct wp_rows *rows, int column);

/* One object a row, members named as the columns are; a column name that ends in "?" becomes a
 * boolean, one that ends in "{}" holds JSON text. */
cJSON *wp_row_object(struct wp_rows *rows);

/* Every row of a query that is open, as an array of objects; ends the query. */
enum wp_status wp_rows_array(struct wp_rows *rows, cJSON **out);

/* The same for a whole statement, put into `object` under `name`. */
enum wp_status wp_add_rows(struct wp_sql *sql, cJSON *object, const char *name, const char *text,
                           const char *types, int64_t a, int64_t b);

#endif
