#include <stdio.h>
#include <string.h>

#include "rows.h"
#include "views/classes.h"

/* Since when a turn is open in which nothing came; 0: there is none. */
static enum wp_status waiting_since(struct wp_sql *sql, int64_t instrument, int64_t now,
                                    int64_t *since)
{
    *since = 0;
    enum wp_status status = wp_sql_int(
        sql, since,
        "SELECT t.opened_us FROM turn t WHERE t.instrument_id = ?1 AND t.closed_us IS NULL AND "
        "t.opened_us < ?2 AND NOT EXISTS (SELECT 1 FROM measurement m WHERE m.turn_id = t.id) AND "
        "NOT EXISTS (SELECT 1 FROM measurement m JOIN capture c ON c.id = m.capture_id WHERE "
        "m.id = (SELECT max(x.id) FROM measurement x WHERE x.instrument_id = ?1) AND "
        "c.received_us >= t.opened_us) ORDER BY t.opened_us DESC LIMIT 1",
        "ii", instrument, now - WP_NOTHING_AFTER);
    return status == WP_NOT_FOUND ? WP_OK : status;
}

/* "C:\export or D:\spectra": the folders that the agent watches. */
static void say_folders(const char *text, char *out, size_t room)
{
    cJSON *json = cJSON_Parse(text ? text : "[]");
    const cJSON *folder = NULL;
    size_t used = 0;
    out[0] = '\0';
    cJSON_ArrayForEach(folder, json)
    {
        const char *path = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(folder, "path"));
        if (path && used + 1 < room)
            used += (size_t)snprintf(out + used, room - used, "%s%.200s", used ? " or " : "", path);
    }
    cJSON_Delete(json);
}

static enum wp_status add_text(struct wp_sql *sql, int64_t instrument, cJSON *nothing)
{
    char folders[512] = "", text[1600] = "";
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT i.name, i.how_to_export, (SELECT a.folders FROM agent a WHERE a.instrument_id = "
        "i.id AND a.revoked_us IS NULL ORDER BY a.seen_us DESC LIMIT 1) FROM instrument i WHERE "
        "i.id = ?",
        "i", instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        const char *how = wp_rows_text(&rows, 1);
        say_folders(wp_rows_text(&rows, 2), folders, sizeof folders);
        (void)snprintf(text, sizeof text, "Nothing has arrived from %.100s. %.700s%s%s",
                       wp_rows_text(&rows, 0), *how ? how : "Save as JCAMP-DX or text.",
                       folders[0] ? " Folder: " : "", folders);
    }
    cJSON_AddStringToObject(nothing, "text", text);
    return wp_rows_end(&rows);
}

enum wp_status wp_bench_nothing(struct wp_sql *sql, int64_t instrument, cJSON *out)
{
    int64_t since = 0;
    enum wp_status status = waiting_since(sql, instrument, wp_clock_utc(), &since);
    if (status || !since) {
        cJSON_AddNullToObject(out, "nothing");
        return status;
    }
    cJSON *nothing = cJSON_AddObjectToObject(out, "nothing");
    cJSON_AddNumberToObject(nothing, "since_us", (double)since);
    return add_text(sql, instrument, nothing);
}
