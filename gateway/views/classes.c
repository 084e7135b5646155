#include "views/classes.h"

#include <stdio.h>
#include <string.h>

#include "people/timetable.h"
#include "rows.h"

/* One student at an instrument, where this class has shown nothing yet; common practice, no
 * source. */
#define USUAL_TURN (8 * WP_MINUTE)

/* One row a student and experiment: `good` usable ones of this class, `all` of them, `expected`. */
#define HAVE                                                                                       \
    "SELECT p.id, trim(p.given || ' ' || p.family) AS name, coalesce(x.good, 0) AS good, "         \
    "coalesce(x.bad, 0) AS bad, coalesce(x.lacks, 0) AS lacks FROM meeting m JOIN enrolled e ON "  \
    "e.section_id = m.section_id AND e.to_us IS NULL JOIN person p ON p.id = e.person_id LEFT "    \
    "JOIN (SELECT y.person_id, sum(y.good) AS good, sum(y.bad) AS bad, max(y.expected - y.good) "  \
    "AS lacks FROM (SELECT o.person_id, sum(z.verdict <> 'again' AND z.kept <> 'again') AS good, " \
    "sum(z.verdict = 'again' OR z.kept = 'again') AS bad, coalesce(max(q.expected), 1) AS "        \
    "expected FROM meeting k JOIN measurement z ON z.section_id = k.section_id AND "               \
    "z.measured_us >= k.starts_us AND z.measured_us < k.ends_us + ?2 JOIN stamp s ON s.id = "      \
    "z.stamp_id AND s.kind IN ('sample', 'repeat') JOIN owned o ON o.measurement_id = z.id LEFT "  \
    "JOIN experiment q ON q.id = z.experiment_id WHERE k.id = ?1 GROUP BY o.person_id, "           \
    "coalesce(z.experiment_id, 0)) y GROUP BY y.person_id) x ON x.person_id = p.id WHERE m.id = "  \
    "?1 ORDER BY p.family, p.given, p.id LIMIT 400"

static double number(const cJSON *object, const char *name)
{
    return cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

static int sort_students(struct wp_sql *sql, int64_t meeting, cJSON *ending, enum wp_status *status)
{
    static const char *const lists[] = {"usable", "fewer", "again", "nothing"};
    cJSON *have = cJSON_CreateObject(), *student = NULL;
    int rest = 0;
    for (int i = 0; i < 4; i++)
        cJSON_AddArrayToObject(ending, lists[i]);
    *status = wp_add_rows(sql, have, "students", HAVE, "ii", meeting, (int64_t)(5 * WP_MINUTE));
    cJSON_ArrayForEach(student, cJSON_GetObjectItemCaseSensitive(have, "students"))
    {
        int list = 3;
        if (number(student, "good") > 0)
            list = number(student, "lacks") > 0 ? 1 : 0;
        else if (number(student, "bad") > 0)
            list = 2;
        rest += list > 0;
        cJSON *one = cJSON_CreateObject();
        cJSON_AddNumberToObject(one, "id", number(student, "id"));
        cJSON_AddStringToObject(
            one, "name", cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(student, "name")));
        cJSON_AddItemToArray(cJSON_GetObjectItemCaseSensitive(ending, lists[list]), one);
    }
    cJSON_Delete(have);
    return rest;
}

/* How long a turn takes: the mean of those of this class that are over and gave a spectrum. */
static enum wp_status turn_length(struct wp_sql *sql, int64_t meeting, int64_t *length)
{
    int64_t mean = 0;
    enum wp_status status = wp_sql_int(
        sql, &mean,
        "SELECT CAST(coalesce(avg(t.closed_us - t.opened_us), 0) AS INTEGER) FROM meeting m JOIN "
        "turn t ON t.section_id = m.section_id AND t.opened_us >= m.starts_us AND t.opened_us < "
        "m.ends_us WHERE m.id = ? AND t.closed_us IS NOT NULL AND t.closed_us - t.opened_us < ? "
        "AND EXISTS (SELECT 1 FROM measurement z WHERE z.turn_id = t.id)",
        "ii", meeting, (int64_t)WP_HOUR);
    *length = mean > WP_MINUTE ? mean : USUAL_TURN;
    return status;
}

static enum wp_status add_time(struct wp_sql *sql, int64_t meeting, const cJSON *object, int rest,
                               cJSON *ending)
{
    int64_t length = 0, open = 0;
    int free = 0, ready = 0;
    char text[160];
    enum wp_status status = turn_length(sql, meeting, &length);
    const cJSON *instrument = NULL;
    cJSON_ArrayForEach(instrument, cJSON_GetObjectItemCaseSensitive(object, "instruments"))
    {
        if (status || !cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(instrument, "ready")))
            continue;
        ready++;
        status = wp_sql_int(
            sql, &open, "SELECT count(*) FROM turn WHERE instrument_id = ? AND closed_us IS NULL",
            "i", (int64_t)number(instrument, "id"));
        free += !open;
    }
    int each = free ? free : ready;
    int64_t minutes = each ? ((rest + each - 1) / each * length + WP_MINUTE / 2) / WP_MINUTE : 0;
    if (!rest)
        (void)snprintf(text, sizeof text, "Everybody has what they need.");
    else if (!ready)
        (void)snprintf(text, sizeof text, "%d to run, and no instrument is ready.", rest);
    else
        (void)snprintf(text, sizeof text, "%d to run: about %d minutes on %d instrument%s%s.", rest,
                       (int)minutes, each, each == 1 ? "" : "s",
                       free ? ", free now" : " once free");
    cJSON_AddNumberToObject(ending, "free", free);
    cJSON_AddNumberToObject(ending, "minutes", (double)minutes);
    cJSON_AddStringToObject(ending, "text", text);
    return status;
}

/* Sheets of this class that came out at a printer; nobody knows which were fetched. */
static enum wp_status add_paper(struct wp_sql *sql, int64_t meeting, cJSON *ending)
{
    return wp_add_rows(
        sql, ending, "paper",
        "SELECT p.name AS printer, p.where_text AS \"where\", count(*) AS sheets FROM meeting m "
        "JOIN measurement z ON z.section_id = m.section_id JOIN delivery d ON d.measurement_id = "
        "z.id AND d.kind = 'print' AND d.state = 'done' AND d.changed_us >= m.starts_us AND "
        "d.changed_us < m.ends_us + ?2 JOIN printer p ON p.id = d.printer_id WHERE m.id = ?1 AND "
        "z.measured_us >= m.starts_us - ?2 GROUP BY p.id ORDER BY p.name",
        "ii", meeting, (int64_t)WP_CLASS_AFTER);
}

enum wp_status wp_class_ending(struct wp_sql *sql, int64_t meeting, int64_t now, cJSON *object)
{
    (void)now;
    enum wp_status status = WP_OK;
    cJSON *ending = cJSON_AddObjectToObject(object, "ending");
    int rest = sort_students(sql, meeting, ending, &status);
    if (!status)
        status = add_time(sql, meeting, object, rest, ending);
    return status ? status : add_paper(sql, meeting, ending);
}

WP_VIEW(wp_view_classes)
{
    (void)error;
    int64_t now = wp_clock_utc();
    const unsigned site = WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND;
    *out = cJSON_CreateObject();
    cJSON_AddNumberToObject(*out, "now_us", (double)now);
    enum wp_status status = wp_add_rows(
        sql, *out, "classes",
        "SELECT m.id, m.section_id AS section, c.code AS course, s.code, m.starts_us, m.ends_us, "
        "coalesce(nullif(m.place, ''), s.place) AS place FROM meeting m JOIN section s ON s.id = "
        "m.section_id JOIN course c ON c.id = s.course_id WHERE m.starts_us < ?2 + 1800000000 AND "
        "m.ends_us > ?2 - 3600000000 AND s.ended_us IS NULL AND (?1 = 0 OR EXISTS (SELECT 1 FROM "
        "section_staff t WHERE t.section_id = s.id AND t.person_id = ?1 AND t.roles & 6 <> 0)) "
        "ORDER BY m.starts_us, c.code, s.code LIMIT 40",
        "ii", ask->who->roles & site ? (int64_t)0 : ask->who->id, now);
    cJSON *one = NULL;
    cJSON_ArrayForEach(one, cJSON_GetObjectItemCaseSensitive(*out, "classes"))
    {
        bool red = false;
        int64_t meeting = (int64_t)number(one, "id");
        if (!status)
            status = wp_class_readiness(sql, meeting, now, one, &red);
        if (!status && number(one, "ends_us") - WP_CLASS_ENDING <= (double)now)
            status = wp_class_ending(sql, meeting, now, one);
        else
            cJSON_AddNullToObject(one, "ending");
    }
    return status;
}
