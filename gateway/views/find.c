/* A measurement by the number on its sheet. */
#include <inttypes.h>
#include <stdio.h>

#include "base/accession.h"
#include "base/clock.h"
#include "rows.h"
#include "views/measurements.h"

static enum wp_status may_see(struct wp_sql *sql, const struct wp_ask *ask, int64_t id)
{
    char text[24];
    (void)snprintf(text, sizeof text, "%" PRId64, id);
    struct wp_ask inner = *ask;
    inner.param[0] = text;
    return wp_access_check(sql, wp_clock_utc(), ask->who, ~0U, WP_SCOPE_MEASUREMENT, &inner);
}

/* Who might have seen it while it was there: whose it was, the section's staff, those who may see
 * everything. WP_DENIED. */
static enum wp_status might_have_seen(struct wp_sql *sql, const struct wp_who *who, int64_t id,
                                      int64_t section)
{
    const unsigned all = WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND;
    unsigned held = 0;
    int64_t one = 0;
    if (who->roles & all)
        return WP_OK;
    if (who->actor != WP_ACTOR_PERSON)
        return WP_DENIED;
    enum wp_status status = wp_sql_int(
        sql, &one, "SELECT 1 FROM removed_person WHERE measurement_id = ? AND person_id = ?", "ii",
        id, who->id);
    if (status != WP_NOT_FOUND)
        return status;
    status = wp_section_roles(sql, who, section, &held);
    return status ? status : held ? WP_OK : WP_DENIED;
}

/* When, by whom and why: what stays of a removed measurement. WP_NOT_FOUND. */
static enum wp_status find_removed(struct wp_sql *sql, const struct wp_who *who, uint64_t accession,
                                   cJSON *out)
{
    int64_t id = 0, section = 0;
    enum wp_status status =
        wp_sql_int(sql, &id, "SELECT measurement_id FROM removed_measurement WHERE accession = ?",
                   "i", (int64_t)accession);
    if (!status)
        status = wp_sql_int(sql, &section,
                            "SELECT section_id FROM removed_measurement WHERE accession = ?", "i",
                            (int64_t)accession);
    if (!status)
        status = might_have_seen(sql, who, id, section);
    if (status)
        return status;
    struct wp_rows rows;
    status = wp_sql_query(
        sql, &rows,
        "SELECT v.at_us, v.reason, coalesce((SELECT trim(p.given || ' ' || p.family) FROM person p "
        "WHERE p.id = v.actor_id), CASE v.actor WHEN 0 THEN 'the gateway, by its own rule' "
        "ELSE 'the command line' END) AS \"by\" "
        "FROM removed_measurement m JOIN removal v ON v.id = m.removal_id "
        "WHERE m.measurement_id = ?",
        "i", id);
    if (status)
        return status;
    cJSON_AddNullToObject(out, "measurement");
    if (wp_rows_next(&rows))
        cJSON_AddItemToObject(out, "removed", wp_row_object(&rows));
    return wp_rows_end(&rows);
}

/* The number alone opens nothing: who may not see the measurement is told the same as for a number
 * that does not exist. */
WP_VIEW(wp_view_find)
{
    uint64_t accession = 0;
    int64_t id = 0;
    const char *typed = wp_ask_text(ask, "accession");
    if (!typed || !wp_accession_parse(typed, &accession))
        return wp_fail(error, WP_INVALID,
                       "An accession number is digits and one letter or digit; it is mistyped.");
    *out = cJSON_CreateObject();
    enum wp_status status = wp_sql_int(sql, &id, "SELECT id FROM measurement WHERE accession = ?",
                                       "i", (int64_t)accession);
    if (!status)
        status = may_see(sql, ask, id);
    else if (status == WP_NOT_FOUND)
        status = find_removed(sql, ask->who, accession, *out);
    if (status == WP_DENIED || status == WP_NOT_FOUND)
        return wp_fail(error, WP_NOT_FOUND, "None of your measurements has this number.");
    if (!status && id)
        cJSON_AddNumberToObject(*out, "measurement", (double)id);
    return status;
}
