#include "views/measurements.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/accession.h"
#include "base/clock.h"
#include "base/sql_words.h"
#include "rows.h"
#include "spectrum/remarks.h"
#include "views/instrument_fault.h"
#include "views/references.h"

/* What engines write differently. */
#define NAME_LIST WP_SQL_JSON_LIST("trim(p.given || ' ' || p.family)")
#define EVENT_ONE "'at_us', e.at_us, 'state', e.state, 'reason', e.reason"
#define EVENT_LIST WP_SQL_JSON_LIST(WP_SQL_JSON_OBJECT(EVENT_ONE))
#define SHA256_TEXT WP_SQL_HEX("o.sha256")

#define LIST_MOST 50
#define STAFF_LIST_MOST 200

/* Everything a list shows of one measurement but its persons. */
#define COLUMNS                                                                                    \
    "SELECT m.id, m.accession, m.measured_us, m.time_source, m.clock_corrected AS "                \
    "\"clock_corrected?\", m.instrument_id, i.name AS instrument_name, i.place AS "                \
    "instrument_place, m.title, m.technique, m.verdict, m.examination, m.kept, "                   \
    "m.counts AS \"counts?\", m.unclaimed AS \"unclaimed?\", m.asked AS \"asked?\", "              \
    "m.suggestion, m.turn_id AS turn, m.section_id, c.code AS course, n.code AS section_code, "    \
    "m.experiment_id, e.code AS experiment_code, e.title AS experiment_title, s.sample, s.kind, "  \
    "s.preparation, s.plates, s.guest, s.rule "                                                    \
    "FROM measurement m JOIN instrument i ON i.id = m.instrument_id "                              \
    "JOIN stamp s ON s.id = m.stamp_id LEFT JOIN section n ON n.id = m.section_id "                \
    "LEFT JOIN course c ON c.id = n.course_id LEFT JOIN experiment e ON e.id = m.experiment_id "

static void group(cJSON *object, const char *name, const char *const from[], const char *const to[])
{
    cJSON *inner = cJSON_CreateObject();
    bool null = cJSON_IsNull(cJSON_GetObjectItemCaseSensitive(object, from[0]));
    for (int i = 0; from[i]; i++) {
        cJSON *item = cJSON_DetachItemFromObjectCaseSensitive(object, from[i]);
        cJSON_AddItemToObject(inner, to[i], item);
    }
    if (null) {
        cJSON_Delete(inner);
        inner = cJSON_CreateNull();
    }
    cJSON_AddItemToObject(object, name, inner);
}

static void replace_accession(cJSON *object)
{
    char text[WP_ACCESSION_ROOM];
    cJSON *number = cJSON_GetObjectItemCaseSensitive(object, "accession");
    wp_accession_format((uint64_t)number->valuedouble, text);
    cJSON_ReplaceItemInObjectCaseSensitive(object, "accession", cJSON_CreateString(text));
}

/* Remarks out of the stored examination; the bands are for the one measurement's page. */
static void add_remarks(cJSON *object)
{
    cJSON *text = cJSON_DetachItemFromObjectCaseSensitive(object, "examination");
    cJSON *examination = cJSON_Parse(cJSON_GetStringValue(text));
    cJSON *remarks = cJSON_DetachItemFromObjectCaseSensitive(examination, "remarks");
    cJSON_AddItemToObject(object, "remarks", remarks ? remarks : cJSON_CreateArray());
    cJSON_Delete(examination);
    cJSON_Delete(text);
    const char *verdict = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, "verdict"));
    for (int v = WP_USABLE; verdict && v <= WP_RUN_AGAIN; v++)
        if (!strcmp(verdict, wp_verdict_text((enum wp_verdict)v)))
            cJSON_AddStringToObject(object, "verdict_words", wp_verdict_words((enum wp_verdict)v));
}

static cJSON *row_json(struct wp_rows *rows)
{
    static const char *const instrument_from[] = {"instrument_id", "instrument_name",
                                                  "instrument_place", NULL};
    static const char *const instrument_to[] = {"id", "name", "place", NULL};
    static const char *const section_from[] = {"section_id", "course", "section_code", NULL};
    static const char *const section_to[] = {"id", "course", "code", NULL};
    static const char *const experiment_from[] = {"experiment_id", "experiment_code",
                                                  "experiment_title", NULL};
    static const char *const experiment_to[] = {"id", "code", "title", NULL};
    cJSON *object = wp_row_object(rows);
    group(object, "instrument", instrument_from, instrument_to);
    group(object, "section", section_from, section_to);
    group(object, "experiment", experiment_from, experiment_to);
    replace_accession(object);
    add_remarks(object);
    return object;
}

static enum wp_status add_person(struct wp_sql *sql, cJSON *list, int64_t id)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT id, trim(given || ' ' || family) AS name, (SELECT section_id FROM enrolled e WHERE "
        "e.person_id = person.id AND e.to_us IS NULL ORDER BY e.from_us DESC LIMIT 1) AS section "
        "FROM person WHERE id = ?",
        "i", id);
    if (status)
        return status;
    if (wp_rows_next(&rows))
        cJSON_AddItemToArray(list, wp_row_object(&rows));
    return wp_rows_end(&rows);
}

/* The suggestion is stored as ids; names are looked up when somebody may see them. */
static enum wp_status add_suggestion(struct wp_sql *sql, cJSON *object)
{
    cJSON *text = cJSON_DetachItemFromObjectCaseSensitive(object, "suggestion");
    cJSON *ids = cJSON_Parse(cJSON_GetStringValue(text) ? cJSON_GetStringValue(text) : "[]");
    cJSON *list = cJSON_AddArrayToObject(object, "suggestion");
    const cJSON *id = NULL;
    enum wp_status status = WP_OK;
    cJSON_ArrayForEach(id, ids)
    {
        if (!status && cJSON_IsNumber(id))
            status = add_person(sql, list, (int64_t)id->valuedouble);
    }
    cJSON_Delete(ids);
    cJSON_Delete(text);
    return status;
}

static enum wp_status names_for(struct wp_sql *sql, const struct wp_who *who, int64_t id,
                                enum wp_names *names)
{
    int64_t section = 0, own = 0;
    enum wp_status status = wp_sql_int(
        sql, &section, "SELECT coalesce(section_id, 0) FROM measurement WHERE id = ?", "i", id);
    if (!status && who->actor == WP_ACTOR_PERSON)
        status = wp_sql_int(sql, &own,
                            "SELECT count(*) FROM owned WHERE measurement_id = ? AND person_id = ?",
                            "ii", id, who->id);
    return status ? status : wp_names_seen(sql, who, section, own != 0, names);
}

/* Instruments write the file's title as whoever ran them typed it: it may be a name. */
static void hide_title(cJSON *object)
{
    cJSON_ReplaceItemInObjectCaseSensitive(object, "title", cJSON_CreateString(""));
}

static void hide_names(cJSON *object)
{
    cJSON_AddArrayToObject(object, "persons");
    cJSON_AddTrueToObject(object, "hidden");
    cJSON_DeleteItemFromObjectCaseSensitive(object, "guest");
    hide_title(object);
}

static void drop_staff_remarks(cJSON *object)
{
    cJSON *remarks = cJSON_GetObjectItemCaseSensitive(object, "remarks");
    for (int i = cJSON_GetArraySize(remarks) - 1; i >= 0; i--) {
        const cJSON *remark = cJSON_GetArrayItem(remarks, i);
        if (cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(remark, "staff_only")))
            cJSON_DeleteItemFromArray(remarks, i);
    }
}

static enum wp_status add_names(struct wp_sql *sql, const struct wp_who *who, cJSON *object)
{
    enum wp_names names = WP_NAMES_HIDDEN;
    int64_t id = (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(object, "id"));
    enum wp_status status = names_for(sql, who, id, &names);
    if (names == WP_NAMES_OWN || names == WP_NAMES_SHORT)
        drop_staff_remarks(object);
    if (names == WP_NAMES_SHORT)
        hide_title(object);
    if (names != WP_NAMES_ALL)
        cJSON_DeleteItemFromObjectCaseSensitive(object, "suggestion");
    if (names == WP_NAMES_HIDDEN) {
        hide_names(object);
        return status;
    }
    if (!status)
        status = wp_add_rows(sql, object, "persons",
                             names == WP_NAMES_SHORT
                                 ? "SELECT p.id, " WP_SHORT_NAME
                                   "FROM owned o JOIN person p ON p.id = o.person_id "
                                   "WHERE o.measurement_id = ? AND ? >= 0 ORDER BY name"
                                 : "SELECT p.id, trim(p.given || ' ' || p.family) AS name FROM "
                                   "owned o JOIN person p "
                                   "ON p.id = o.person_id WHERE o.measurement_id = ? AND ? >= 0 "
                                   "ORDER BY p.family, p.given",
                             "ii", id, 0);
    if (!status)
        status = wp_ease_remarks(sql, object);
    return status || names != WP_NAMES_ALL ? status : add_suggestion(sql, object);
}

/* Names of all rows after the rows themselves: the statement for one is reused. */
static enum wp_status finish_list(struct wp_sql *sql, const struct wp_who *who,
                                  struct wp_rows *rows, cJSON *list)
{
    while (wp_rows_next(rows))
        cJSON_AddItemToArray(list, row_json(rows));
    enum wp_status status = wp_rows_end(rows);
    cJSON *item = NULL;
    cJSON_ArrayForEach(item, list)
    {
        if (!status)
            status = add_names(sql, who, item);
    }
    return status;
}

enum wp_status wp_measurement_json(struct wp_sql *sql, const struct wp_who *who, int64_t id,
                                   cJSON **out)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(sql, &rows, COLUMNS "WHERE m.id = ?", "i", id);
    if (status)
        return status;
    cJSON *object = wp_rows_next(&rows) ? row_json(&rows) : NULL;
    status = wp_rows_end(&rows);
    if (!status && !object)
        status = WP_NOT_FOUND;
    if (!status)
        status = add_names(sql, who, object);
    if (status)
        cJSON_Delete(object);
    else
        *out = object;
    return status;
}

static enum wp_status add_stamps(struct wp_sql *sql, bool named, int64_t id, cJSON *object)
{
    return wp_add_rows(
        sql, object, "stamps",
        "SELECT s.revision, s.rule, s.sample, s.kind, s.preparation, s.plates, "
        "CASE WHEN ?2 THEN s.reason ELSE '' END AS reason, s.at_us, n.code AS section, "
        "e.code AS experiment, s.author, CASE WHEN ?2 THEN s.author_id ELSE 0 END AS author_id, "
        "CASE WHEN ?2 THEN (SELECT " NAME_LIST " FROM "
        "stamp_person q JOIN person p ON p.id = q.person_id WHERE q.stamp_id = s.id) "
        "ELSE '[]' END AS \"persons{}\", "
        "CASE WHEN s.author = 1 AND ?2 THEN (SELECT trim(p.given || ' ' || p.family) FROM person p "
        "WHERE p.id = s.author_id) END AS author_name "
        "FROM stamp s LEFT JOIN section n ON n.id = s.section_id LEFT JOIN experiment e "
        "ON e.id = s.experiment_id WHERE s.measurement_id = ?1 ORDER BY s.revision",
        "ii", id, named);
}

/* Names of files and what became of sheets are for those who see names: both may carry them. */
static enum wp_status add_history(struct wp_sql *sql, const struct wp_who *who, int64_t id,
                                  cJSON *object)
{
    enum wp_names names = WP_NAMES_HIDDEN;
    enum wp_status status = names_for(sql, who, id, &names);
    bool named = names == WP_NAMES_OWN || names == WP_NAMES_ALL;
    if (!status)
        status = add_stamps(sql, named, id, object);
    if (!status)
        status = wp_add_rows(sql, object, "renditions",
                             "SELECT r.id, r.format, r.points, r.block, r.added_us, CASE WHEN ?2 "
                             "THEN c.path ELSE '' END AS path FROM rendition r JOIN capture c "
                             "ON c.id = r.capture_id WHERE r.measurement_id = ?1 ORDER BY r.id",
                             "ii", id, named);
    if (!status)
        status = wp_add_rows(sql, object, "deliveries",
                             "SELECT d.id, d.kind, d.state, d.reason, p.name AS printer, "
                             "d.changed_us, (SELECT " EVENT_LIST " FROM (SELECT * FROM "
                             "delivery_event WHERE delivery_id = d.id ORDER BY number DESC LIMIT "
                             "50) e) AS \"events{}\" FROM delivery d LEFT JOIN printer p "
                             "ON p.id = d.printer_id WHERE d.measurement_id = ? AND ? "
                             "ORDER BY d.id DESC LIMIT 50",
                             "ii", id, names != WP_NAMES_HIDDEN);
    return status ? status
                  : wp_add_rows(sql, object, "captures",
                                "SELECT DISTINCT c.id, c.path, c.received_us, c.known AS "
                                "\"known?\", trim(p.given || ' ' || p.family) AS brought_by "
                                "FROM rendition r JOIN capture c ON c.sha256 = r.sha256 "
                                "LEFT JOIN person p ON p.id = c.brought_by "
                                "WHERE r.measurement_id = ? AND ? ORDER BY c.id LIMIT 50",
                                "ii", id, named);
}

static enum wp_status add_bands(struct wp_sql *sql, int64_t id, cJSON *object)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT examination AS \"examination{}\" FROM measurement WHERE id = ?", "i",
        id);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        cJSON *row = wp_row_object(&rows);
        cJSON *examination = cJSON_GetObjectItemCaseSensitive(row, "examination");
        cJSON *bands = cJSON_DetachItemFromObjectCaseSensitive(examination, "bands");
        cJSON *cut_off = cJSON_DetachItemFromObjectCaseSensitive(examination, "cut_off");
        cJSON_AddItemToObject(object, "bands", bands ? bands : cJSON_CreateArray());
        cJSON_AddItemToObject(object, "cut_off", cut_off ? cut_off : cJSON_CreateNull());
        cJSON_Delete(row);
    }
    return wp_rows_end(&rows);
}

/* A demonstrator looks, and takes nothing away: pages offer no such button. */
static enum wp_status add_exports(struct wp_sql *sql, const struct wp_ask *ask, cJSON *object)
{
    const unsigned roles = WP_ROLE_STUDENT | WP_ROLE_INSTRUCTOR | WP_ROLE_MARKER |
                           WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND;
    enum wp_status status =
        wp_access_check(sql, wp_clock_utc(), ask->who, roles, WP_SCOPE_MEASUREMENT, ask);
    cJSON_AddBoolToObject(object, "exports", status == WP_OK);
    return status == WP_DENIED ? WP_OK : status;
}

WP_VIEW(wp_view_measurement)
{
    int64_t id = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return wp_fail(error, WP_NOT_FOUND, "There is no such measurement.");
    enum wp_status status = wp_measurement_json(sql, ask->who, id, out);
    if (!status)
        status = add_history(sql, ask->who, id, *out);
    if (!status)
        status = add_exports(sql, ask, *out);
    if (!status)
        status = wp_add_references(sql, id, *out);
    return status ? status : add_bands(sql, id, *out);
}

/* What somebody typed, for LIKE: its own wildcards are taken literally. */
static void like_text(const char *typed, char *out, size_t room)
{
    size_t used = 0;
    out[used++] = '%';
    for (; *typed && used + 4 < room; typed++) {
        if (*typed == '%' || *typed == '_' || *typed == '\\')
            out[used++] = '\\';
        out[used++] = *typed;
    }
    out[used++] = '%';
    out[used] = '\0';
}

WP_VIEW(wp_view_inbox)
{
    (void)error;
    int64_t before = INT64_MAX;
    uint64_t accession = 0;
    char like[200];
    const char *q = wp_ask_text(ask, "q");
    (void)wp_ask_int(ask, "before", &before);
    like_text(q ? q : "", like, sizeof like);
    if (q)
        (void)wp_accession_parse(q, &accession);
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        COLUMNS
        "JOIN owned o ON o.measurement_id = m.id WHERE o.person_id = ?1 AND m.id < ?2 AND "
        "(?3 = '%%' OR m.accession = ?4 OR CAST(m.accession AS TEXT) LIKE ?3 ESCAPE '\\' OR "
        "s.sample LIKE ?3 ESCAPE '\\' OR "
        "e.title LIKE ?3 ESCAPE '\\' OR e.code LIKE ?3 ESCAPE '\\' OR "
        "c.code LIKE ?3 ESCAPE '\\' OR i.name LIKE ?3 ESCAPE '\\') "
        "ORDER BY o.measurement_id DESC LIMIT ?5",
        "iitii", ask->who->id, before, like, (int64_t)accession, (int64_t)LIST_MOST + 1);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    cJSON *list = cJSON_AddArrayToObject(*out, "measurements");
    status = finish_list(sql, ask->who, &rows, list);
    bool more = cJSON_GetArraySize(list) > LIST_MOST;
    if (more)
        cJSON_DeleteItemFromArray(list, LIST_MOST);
    cJSON_AddBoolToObject(*out, "more", more);
    return status;
}

WP_VIEW(wp_view_unclaimed)
{
    (void)error;
    struct wp_rows rows;
    const unsigned all = WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND;
    int64_t since = (ask->who->roles & (all | WP_ROLE_INSTRUCTOR)) ? 0 : wp_clock_utc() - WP_DAY;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        COLUMNS "WHERE m.unclaimed = 1 AND m.measured_us > ?1 AND (?2 OR (m.section_id IS NULL "
                "AND " WP_INSTRUMENT_IS_THEIRS(
                    "?3") ") OR EXISTS (SELECT 1 FROM section_staff t WHERE t.section_id = "
                          "m.section_id AND "
                          "t.person_id = ?3 AND t.roles & 6 <> 0)) ORDER BY m.id DESC LIMIT ?4",
        "iiii", since, (int64_t)((ask->who->roles & all) != 0), ask->who->id,
        (int64_t)STAFF_LIST_MOST);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    return finish_list(sql, ask->who, &rows, cJSON_AddArrayToObject(*out, "measurements"));
}

static void accession_member(cJSON *object, const char *id_name, const char *number_name,
                             const char *name)
{
    cJSON *id = cJSON_DetachItemFromObjectCaseSensitive(object, id_name);
    cJSON *number = cJSON_DetachItemFromObjectCaseSensitive(object, number_name);
    if (cJSON_IsNumber(number)) {
        char text[WP_ACCESSION_ROOM];
        cJSON *inner = cJSON_AddObjectToObject(object, name);
        wp_accession_format((uint64_t)number->valuedouble, text);
        cJSON_AddNumberToObject(inner, "id", cJSON_GetNumberValue(id));
        cJSON_AddStringToObject(inner, "accession", text);
    } else {
        cJSON_AddNullToObject(object, name);
    }
    cJSON_Delete(id);
    cJSON_Delete(number);
}

WP_VIEW(wp_view_notices)
{
    (void)error;
    const struct wp_who *who = ask->who;
    bool all = (who->roles & (WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)) != 0;
    *out = cJSON_CreateObject();
    enum wp_status status = wp_add_rows(
        sql, *out, "notices",
        "SELECT n.id, n.kind, n.text, n.at_us, i.id AS instrument_id, i.name AS instrument, "
        "n.measurement_id, m.accession AS number, n.other_id, o.accession AS other_number, "
        "c.path FROM notice n JOIN instrument i ON i.id = n.instrument_id "
        "LEFT JOIN measurement m ON m.id = n.measurement_id "
        "LEFT JOIN measurement o ON o.id = n.other_id LEFT JOIN capture c ON c.id = n.capture_id "
        "WHERE n.settled_us IS NULL AND (?1 OR " WP_NOTICE_IS_THEIRS
        ") ORDER BY n.at_us DESC LIMIT 200",
        "ii", (int64_t)all, who->id);
    cJSON *item = NULL;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(*out, "notices"))
    {
        accession_member(item, "measurement_id", "number", "measurement");
        accession_member(item, "other_id", "other_number", "other");
    }
    return status;
}

enum wp_status wp_view_object_seen(struct wp_sql *sql, const struct wp_who *who,
                                   const unsigned char digest[32])
{
    int64_t one = 0;
    bool all = (who->roles & (WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)) != 0;
    return wp_sql_int(sql, &one,
                      "SELECT 1 FROM object o WHERE o.sha256 = ?1 AND o.state NOT IN ("
                      "'removing', 'removed') AND (?2 OR EXISTS (SELECT 1 FROM "
                      "rendition r JOIN measurement m ON m.id = r.measurement_id JOIN "
                      "section_staff t ON t.section_id = m.section_id WHERE r.sha256 = o.sha256 "
                      "AND t.person_id = ?3 AND t.roles & 4 <> 0) OR NOT EXISTS (SELECT 1 FROM "
                      "rendition r JOIN measurement m ON m.id = r.measurement_id WHERE r.sha256 = "
                      "o.sha256 AND m.section_id IS NOT NULL))",
                      "bii", digest, (size_t)32, (int64_t)all, who->id);
}

WP_VIEW(wp_view_unread)
{
    (void)error;
    bool all =
        (ask->who->roles & (WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)) != 0;
    *out = cJSON_CreateObject();
    return wp_add_rows(
        sql, *out, "objects",
        "SELECT " SHA256_TEXT " AS sha256, o.size, o.error_text AS text, o.error_line AS "
        "line, o.error_column AS \"column\", c.path, i.name AS instrument, c.received_us FROM "
        "object o JOIN capture c ON c.id = (SELECT min(d.id) FROM capture d WHERE "
        "d.sha256 = o.sha256) JOIN instrument i ON i.id = c.instrument_id "
        "WHERE o.error_text IS NOT NULL AND (?1 OR " WP_INSTRUMENT_IS_THEIRS(
            "?2") ") ORDER BY o.first_us DESC LIMIT 200",
        "ii", (int64_t)all, ask->who->id);
}
