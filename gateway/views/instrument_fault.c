#include "views/instrument_fault.h"

#include "spectrum/remarks.h"

static int64_t whole(const cJSON *object, const char *name)
{
    return (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

static enum wp_status ease(struct wp_sql *sql, const cJSON *object, cJSON *remark, const char *code)
{
    int64_t one = 0;
    enum wp_status status = wp_sql_int(
        sql, &one,
        "SELECT 1 FROM notice WHERE instrument_id = ?1 AND code = ?2 AND code <> '' AND kind = "
        "'instrument' AND from_us <= ?3 AND (settled_us IS NULL OR settled_us > ?3) LIMIT 1",
        "iti", whole(cJSON_GetObjectItemCaseSensitive(object, "instrument"), "id"), code,
        whole(object, "measured_us"));
    if (status)
        return status == WP_NOT_FOUND ? WP_OK : status;
    cJSON_AddTrueToObject(remark, "instrument");
    cJSON_ReplaceItemInObjectCaseSensitive(
        remark, "advice",
        cJSON_CreateString("This is the instrument, not your sample. Staff have been told."));
    return WP_OK;
}

enum wp_status wp_ease_remarks(struct wp_sql *sql, cJSON *object)
{
    cJSON *remark = NULL;
    enum wp_status status = WP_OK;
    cJSON_ArrayForEach(remark, cJSON_GetObjectItemCaseSensitive(object, "remarks"))
    {
        const char *code = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(remark, "code"));
        if (!status && wp_remark_of_instrument(code))
            status = ease(sql, object, remark, code);
    }
    return status;
}
