#include "views/timetable.h"

#include "base/clock.h"
#include "people/persons.h"
#include "people/timetable.h"
#include "rows.h"

static int whole(const cJSON *object, const char *name)
{
    return (int)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

/* Replaces the numbers of a row by what people read: 0 becomes null. */
static void say_day(cJSON *row, const char *name)
{
    char text[WP_DAY_ROOM];
    int day = whole(row, name);
    wp_day_text(day, text);
    cJSON_ReplaceItemInObjectCaseSensitive(row, name,
                                           day ? cJSON_CreateString(text) : cJSON_CreateNull());
}

static void say_minute(cJSON *row, const char *name)
{
    char text[WP_DAY_ROOM];
    wp_minute_text(whole(row, name), text);
    cJSON_ReplaceItemInObjectCaseSensitive(row, name, cJSON_CreateString(text));
}

WP_VIEW(wp_view_terms)
{
    (void)ask;
    (void)error;
    *out = cJSON_CreateObject();
    enum wp_status status = wp_add_rows(sql, *out, "terms",
                                        "SELECT t.id, t.code, t.title, t.first_day AS first, "
                                        "t.last_day AS last, t.ends_us <= ?1 AS "
                                        "\"over?\", (SELECT count(*) FROM section s WHERE "
                                        "s.term_id = t.id AND ?2 >= 0) AS sections "
                                        "FROM term t ORDER BY t.first_day DESC, t.code LIMIT 200",
                                        "ii", wp_clock_utc(), 0);
    cJSON *term = NULL;
    cJSON_ArrayForEach(term, cJSON_GetObjectItemCaseSensitive(*out, "terms"))
    {
        say_day(term, "first");
        say_day(term, "last");
    }
    return status;
}

static enum wp_status add_exceptions(struct wp_sql *sql, cJSON *weekly)
{
    cJSON *one = NULL;
    enum wp_status status = wp_add_rows(
        sql, weekly, "exceptions",
        "SELECT day, new_day AS moved_to, starts_minute AS starts, ends_minute AS ends, place FROM "
        "weekly_except WHERE weekly_id = ? AND ? >= 0 ORDER BY day LIMIT 200",
        "ii", (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(weekly, "id")), 0);
    cJSON_ArrayForEach(one, cJSON_GetObjectItemCaseSensitive(weekly, "exceptions"))
    {
        say_day(one, "day");
        say_day(one, "moved_to");
        say_minute(one, "starts");
        say_minute(one, "ends");
    }
    return status;
}

static enum wp_status add_weekly(struct wp_sql *sql, int64_t section, cJSON *out)
{
    enum wp_status status = wp_add_rows(
        sql, out, "weekly",
        "SELECT w.id, c.code AS course, s.code AS section, w.weekday, w.starts_minute AS starts, "
        "w.ends_minute AS ends, coalesce(nullif(w.first_day, 0), t.first_day, 0) AS \"from\", "
        "coalesce(nullif(w.last_day, 0), t.last_day, 0) AS until, w.first_day <> 0 OR w.last_day "
        "<> 0 AS \"own_days?\", w.place, (SELECT count(*) FROM meeting m WHERE m.weekly_id = w.id "
        "AND m.starts_us > ?2) AS meetings FROM weekly w JOIN section s ON s.id = w.section_id "
        "JOIN course c ON c.id = s.course_id LEFT JOIN term t ON t.id = s.term_id "
        "WHERE w.ended_us IS NULL AND s.ended_us IS NULL AND (?1 = 0 OR s.id = ?1) "
        "ORDER BY c.code, s.code, w.weekday, w.starts_minute LIMIT 1000",
        "ii", section, wp_clock_utc());
    cJSON *weekly = NULL;
    cJSON_ArrayForEach(weekly, cJSON_GetObjectItemCaseSensitive(out, "weekly"))
    {
        cJSON_ReplaceItemInObjectCaseSensitive(
            weekly, "weekday", cJSON_CreateString(wp_weekday_text(whole(weekly, "weekday"))));
        say_minute(weekly, "starts");
        say_minute(weekly, "ends");
        say_day(weekly, "from");
        say_day(weekly, "until");
        if (!status)
            status = add_exceptions(sql, weekly);
    }
    return status;
}

WP_VIEW(wp_view_timetable)
{
    int64_t section = 0;
    enum wp_status status = WP_OK;
    if (wp_ask_text(ask, "course") || wp_ask_text(ask, "section"))
        status = wp_section_named(sql, ask, &section, error);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    status = add_weekly(sql, section, *out);
    if (!status)
        status = wp_add_rows(
            sql, *out, "meetings",
            "SELECT m.id, c.code AS course, s.code AS section, m.starts_us, m.ends_us, "
            "coalesce(nullif(m.place, ''), s.place) AS place, m.weekly_id AS weekly FROM meeting m "
            "JOIN section s ON s.id = m.section_id JOIN course c ON c.id = s.course_id WHERE "
            "m.ends_us > ?2 AND s.ended_us IS NULL AND (?1 = 0 OR s.id = ?1) ORDER BY m.starts_us, "
            "c.code, s.code LIMIT 500",
            "ii", section, wp_clock_utc());
    cJSON *meeting = NULL;
    cJSON_ArrayForEach(meeting, cJSON_GetObjectItemCaseSensitive(*out, "meetings"))
    {
        char text[WP_ISO_ROOM];
        wp_clock_local(
            (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(meeting, "starts_us")),
            text);
        cJSON_AddStringToObject(meeting, "starts", text);
        wp_clock_local(
            (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(meeting, "ends_us")),
            text);
        cJSON_AddStringToObject(meeting, "ends", text);
    }
    return status;
}

WP_VIEW(wp_view_roster)
{
    int64_t section = 0;
    if (!wp_ask_param_int(ask, 0, &section))
        return wp_fail(error, WP_NOT_FOUND, "There is no such section.");
    *out = cJSON_CreateObject();
    return wp_add_rows(sql, *out, "students",
                       "SELECT p.id, p.login, p.given, p.family, e.number, e.from_us, e.to_us "
                       "FROM enrolled e JOIN person p ON p.id = e.person_id WHERE e.section_id = ? "
                       "AND p.erased_us IS NULL AND ? >= 0 ORDER BY e.to_us IS NOT NULL, p.family, "
                       "p.given, p.login LIMIT 2000",
                       "ii", section, 0);
}
