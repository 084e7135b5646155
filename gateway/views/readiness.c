#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "people/timetable.h"
#include "rows.h"
#include "views/classes.h"

/* Silent after three heartbeats of 30 s that did not come; a file that waits on the PC for longer
 * than this is not on its way. */
#define SILENT_AFTER (90 * WP_SECOND)
#define WAITS_AFTER (10 * WP_MINUTE)
/* A background older than this is told. */
#define BACKGROUND_OLD WP_DAY

static void say(cJSON *instrument, const char *list, const char *text)
{
    cJSON_AddItemToArray(cJSON_GetObjectItemCaseSensitive(instrument, list),
                         cJSON_CreateString(text));
}

static int64_t id_of(const cJSON *instrument)
{
    return (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(instrument, "id"));
}

/* A folder that the agent cannot reach. */
static void folders(cJSON *instrument, const char *text)
{
    cJSON *json = cJSON_Parse(text ? text : "[]");
    const cJSON *folder = NULL;
    cJSON_ArrayForEach(folder, json)
    {
        if (cJSON_IsFalse(cJSON_GetObjectItemCaseSensitive(folder, "ok"))) {
            say(instrument, "problems", "its export folder is not reached");
            break;
        }
    }
    cJSON_Delete(json);
}

static enum wp_status agent(struct wp_sql *sql, int64_t now, cJSON *instrument)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT seen_us, spool_stopped, coalesce(queue_oldest_us + offset_us, 0), folders FROM "
        "agent WHERE instrument_id = ? AND revoked_us IS NULL ORDER BY seen_us DESC LIMIT 1",
        "i", id_of(instrument));
    if (status)
        return status;
    if (!wp_rows_next(&rows)) {
        say(instrument, "problems", "no agent has joined");
        return wp_rows_end(&rows);
    }
    int64_t oldest = wp_rows_int(&rows, 2);
    if (wp_rows_int(&rows, 0) < now - SILENT_AFTER)
        say(instrument, "problems", "its PC is not heard");
    else if (oldest && oldest < now - WAITS_AFTER)
        say(instrument, "problems", "spectra wait on its PC");
    if (wp_rows_int(&rows, 1))
        say(instrument, "problems", "its PC has no room for spectra");
    folders(instrument, wp_rows_text(&rows, 3));
    return wp_rows_end(&rows);
}

/* The printer named for it, else those of its room: one that works is enough there. */
static enum wp_status printer(struct wp_sql *sql, cJSON *instrument)
{
    struct wp_rows rows;
    char text[256] = "";
    bool works = false, any = false;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT p.name, p.state, p.state_text, p.mode, p.mode_reason FROM printer p JOIN "
        "instrument i ON i.id = ? WHERE p.retired_us IS NULL AND (p.id = i.first_printer_id OR "
        "(i.first_printer_id IS NULL AND (p.place = i.place OR substr(i.place, 1, "
        "length(p.place) + 1) = p.place || '/'))) ORDER BY p.name LIMIT 16",
        "i", id_of(instrument));
    if (status)
        return status;
    while (wp_rows_next(&rows)) {
        const char *state = wp_rows_text(&rows, 1), *words = wp_rows_text(&rows, 2);
        bool on = !strcmp(wp_rows_text(&rows, 3), "on");
        bool stopped = !strcmp(state, "stopped") || !strcmp(state, "unreachable");
        any = true;
        works = works || (on && !stopped);
        if (!on)
            (void)snprintf(text, sizeof text, "%.80s is paused", wp_rows_text(&rows, 0));
        else if (stopped)
            (void)snprintf(text, sizeof text, "%.80s %.120s", wp_rows_text(&rows, 0),
                           !strcmp(state, "unreachable") || !*words ? "is not reached" : words);
    }
    if (any && !works)
        say(instrument, "problems", text);
    return wp_rows_end(&rows);
}

/* The newest film check of today, if there is one, and the newest background. */
static enum wp_status checks(struct wp_sql *sql, int64_t now, cJSON *instrument)
{
    struct wp_rows rows;
    int day = wp_clock_local_day(now);
    int64_t today = wp_day_span(day, 0, 1440).starts_us, film = 0, background = 0;
    bool failed = false;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT s.kind, max(m.measured_us), m.verdict FROM measurement m JOIN stamp s "
                     "ON s.id = m.stamp_id WHERE m.instrument_id = ? AND s.kind IN ('film check', "
                     "'background') AND m.id IN (SELECT id FROM measurement WHERE instrument_id = "
                     "?1 ORDER BY id DESC LIMIT 500) GROUP BY s.kind",
                     "i", id_of(instrument));
    if (status)
        return status;
    while (wp_rows_next(&rows)) {
        if (!strcmp(wp_rows_text(&rows, 0), "background")) {
            background = wp_rows_int(&rows, 1);
        } else {
            film = wp_rows_int(&rows, 1);
            failed = !strcmp(wp_rows_text(&rows, 2), "again");
        }
    }
    if (film < today)
        say(instrument, "notes", "no film check today");
    else if (failed)
        say(instrument, "problems", "today's film check should be run again");
    if (background && background < now - BACKGROUND_OLD) {
        char text[64];
        (void)snprintf(text, sizeof text, "the newest background is %d days old",
                       (int)((now - background) / WP_DAY));
        say(instrument, "notes", text);
    }
    return wp_rows_end(&rows);
}

static enum wp_status faults(struct wp_sql *sql, cJSON *instrument)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT text FROM notice WHERE instrument_id = ? AND kind = 'instrument' AND settled_us "
        "IS NULL ORDER BY at_us LIMIT 4",
        "i", id_of(instrument));
    if (status)
        return status;
    while (wp_rows_next(&rows)) {
        /* "IR-2: take a new background. Three turns ...": what to do, without the name */
        const char *text = wp_rows_text(&rows, 0), *colon = strstr(text, ": ");
        char words[160];
        (void)snprintf(words, sizeof words, "%.*s", (int)strcspn(colon ? colon + 2 : text, "."),
                       colon ? colon + 2 : text);
        say(instrument, "problems", words);
    }
    return wp_rows_end(&rows);
}

static enum wp_status look_at(struct wp_sql *sql, int64_t now, cJSON *instrument)
{
    cJSON_AddArrayToObject(instrument, "problems");
    cJSON_AddArrayToObject(instrument, "notes");
    if (cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(instrument, "paused")))
        say(instrument, "problems", "it is paused");
    enum wp_status status = agent(sql, now, instrument);
    if (!status)
        status = printer(sql, instrument);
    if (!status)
        status = faults(sql, instrument);
    if (!status)
        status = checks(sql, now, instrument);
    bool ready = !cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(instrument, "problems"));
    cJSON_AddBoolToObject(instrument, "ready", ready);
    return status;
}

/* "Instruments for CHM 221-A at 14:00: IR-1 ready, IR-2 not: no paper at 214-B." */
static enum wp_status add_text(struct wp_sql *sql, int64_t meeting, cJSON *object)
{
    char text[4096], when[WP_ISO_ROOM];
    size_t used = 0;
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT c.code || '-' || s.code, m.starts_us FROM meeting m JOIN section s ON "
                     "s.id = m.section_id JOIN course c ON c.id = s.course_id WHERE m.id = ?",
                     "i", meeting);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        wp_clock_local(wp_rows_int(&rows, 1), when);
        used = (size_t)snprintf(text, sizeof text,
                                "Instruments for %.80s at %s:", wp_rows_text(&rows, 0), when + 11);
    }
    status = wp_rows_end(&rows);
    const cJSON *instrument = NULL, *list = cJSON_GetObjectItemCaseSensitive(object, "instruments");
    cJSON_ArrayForEach(instrument, list)
    {
        const cJSON *problem = NULL;
        bool first = instrument == cJSON_GetArrayItem(list, 0), said = false;
        const char *name =
            cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(instrument, "name"));
        bool ready = cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(instrument, "ready"));
        if (used + 1 < sizeof text)
            used += (size_t)snprintf(text + used, sizeof text - used, "%s %.80s %s",
                                     first ? "" : ",", name ? name : "", ready ? "ready" : "not:");
        cJSON_ArrayForEach(problem, cJSON_GetObjectItemCaseSensitive(instrument, "problems"))
        {
            if (used + 1 < sizeof text)
                used += (size_t)snprintf(text + used, sizeof text - used, "%s %.200s",
                                         said ? " and" : "", problem->valuestring);
            said = true;
        }
    }
    cJSON_AddStringToObject(object, "text",
                            cJSON_GetArraySize(list) ? text : "No instrument stands there.");
    return status;
}

enum wp_status wp_class_readiness(struct wp_sql *sql, int64_t meeting, int64_t now, cJSON *object,
                                  bool *red)
{
    *red = false;
    enum wp_status status = wp_add_rows(
        sql, object, "instruments",
        "SELECT i.id, i.name, i.paused_until_us > ?2 AS \"paused?\" FROM meeting m JOIN section s "
        "ON s.id = m.section_id JOIN instrument i ON i.retired_us IS NULL "
        "AND " WP_MEETS_AT_INSTRUMENT " WHERE m.id = ?1 ORDER BY i.name LIMIT 60",
        "ii", meeting, now);
    cJSON *instrument = NULL;
    cJSON_ArrayForEach(instrument, cJSON_GetObjectItemCaseSensitive(object, "instruments"))
    {
        if (!status)
            status = look_at(sql, now, instrument);
        *red = *red || !cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(instrument, "ready"));
    }
    return status ? status : add_text(sql, meeting, object);
}
