#include "base/accession.h"
#include "dispatch/dispatch.h"
#include "rows.h"
#include "views/lists.h"

/* What the sheet is of, by the number and sample that stand on it. */
static enum wp_status add_subject(struct wp_sql *sql, cJSON *delivery)
{
    struct wp_rows rows;
    char accession[WP_ACCESSION_ROOM];
    int64_t measurement =
        (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(delivery, "measurement"));
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT m.accession, coalesce(s.sample, '') FROM measurement m LEFT JOIN stamp "
        "s ON s.id = m.stamp_id WHERE m.id = ?",
        "i", measurement);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        wp_accession_format((uint64_t)wp_rows_int(&rows, 0), accession);
        if (!cJSON_AddStringToObject(delivery, "accession", accession) ||
            !cJSON_AddStringToObject(delivery, "sample", wp_rows_text(&rows, 1)))
            status = WP_NO_MEMORY;
    }
    enum wp_status end = wp_rows_end(&rows);
    return status ? status : end;
}

WP_VIEW(wp_view_deliveries)
{
    enum wp_status status = wp_delivery_view_list(sql, ask, out, error);
    cJSON *row = NULL;
    const cJSON *list = status ? NULL : cJSON_GetObjectItemCaseSensitive(*out, "deliveries");
    cJSON_ArrayForEach(row, list)
    {
        if (!status)
            status = add_subject(sql, row);
    }
    return status;
}
