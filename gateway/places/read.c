/* Places and instruments as the database has them. */
#include <stdio.h>
#include <string.h>

#include "places/places.h"

enum wp_status wp_place_metres(struct wp_sql *sql, const char *place, bool *measured, double *x_m,
                               double *y_m)
{
    struct wp_rows rows;
    *measured = false;
    *x_m = 0;
    *y_m = 0;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT x_m, y_m FROM place WHERE path = ?", "t", place);
    if (status)
        return status;
    if (wp_rows_next(&rows) && !wp_rows_null(&rows, 0) && !wp_rows_null(&rows, 1)) {
        *measured = true;
        *x_m = wp_rows_double(&rows, 0);
        *y_m = wp_rows_double(&rows, 1);
    }
    return wp_rows_end(&rows);
}

enum wp_status wp_instrument_place_read(struct wp_sql *sql, int64_t instrument,
                                        struct wp_instrument_place *out)
{
    struct wp_rows rows;
    memset(out, 0, sizeof *out);
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT place, first_printer_id, second_printer_id FROM instrument"
                     " WHERE id = ?",
                     "i", instrument);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        const char *place = wp_rows_text(&rows, 0);
        snprintf(out->place, sizeof out->place, "%s", place != NULL ? place : "");
        out->first_printer = wp_rows_int(&rows, 1);
        out->second_printer = wp_rows_int(&rows, 2);
    }
    status = wp_rows_end(&rows);
    if (status || !found)
        return status ? status : WP_NOT_FOUND;
    return wp_place_metres(sql, out->place, &out->measured, &out->x_m, &out->y_m);
}
