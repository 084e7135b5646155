/* How a sheet is to look where neither the spectrum nor a printer decides. */
#include <string.h>

#include "acts/render.h"

enum wp_status wp_sheet_course(struct wp_sql *sql, int64_t course, struct wp_sheet_options *options)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT y_axis, x_scale FROM course WHERE id = ?", "i", course);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        bool absorbance = !strcmp(wp_rows_text(&rows, 0), "absorbance");
        options->ordinate = absorbance ? WP_SHEET_ABSORBANCE : WP_SHEET_TRANSMITTANCE;
        options->compress = !strcmp(wp_rows_text(&rows, 1), "half");
    }
    return wp_rows_end(&rows);
}

enum wp_sheet_paper wp_sheet_paper(struct wp_sql *sql)
{
    int64_t more = 0;
    enum wp_status status =
        wp_sql_int(sql, &more,
                   "SELECT coalesce(sum(CASE paper WHEN 'letter' THEN 1 ELSE -1 END), 0) "
                   "FROM printer",
                   "");
    return !status && more > 0 ? WP_SHEET_LETTER : WP_SHEET_A4;
}
