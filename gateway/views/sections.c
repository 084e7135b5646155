#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/accession.h"
#include "base/bytes.h"
#include "base/clock.h"
#include "base/sql_words.h"
#include "dispatch/dispatch.h"
#include "rows.h"
#include "views/lists.h"

/* What engines write differently. */
#define FULL_NAME "trim(p.given || ' ' || p.family)"
#define ALL_NAMES WP_SQL_JOINED(FULL_NAME, "', '")
#define NAME_LIST WP_SQL_JSON_LIST("name")
#define STAFF_ONE "'name', " FULL_NAME ", 'login', p.login, 'roles', t.roles"
#define STAFF_LIST WP_SQL_JSON_LIST(WP_SQL_JSON_OBJECT(STAFF_ONE))
#define SESSION_KEY WP_SQL_HEX("substr(token_hash, 1, 8)")
#define HASH_TEXT WP_SQL_HEX("hash")
#define HOLDS_WORD WP_SQL_HOLDS("lower(login || ' ' || given || ' ' || family)", "lower(?1)")

#define SITE_STAFF (WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)

static cJSON *role_names(unsigned roles)
{
    char text[160];
    cJSON *list = cJSON_CreateArray();
    wp_roles_text(roles, text, sizeof text);
    char *save = NULL;
    for (char *name = strtok_r(text, ",", &save); name; name = strtok_r(NULL, ",", &save)) {
        while (*name == ' ')
            name++;
        cJSON_AddItemToArray(list, cJSON_CreateString(name));
    }
    return list;
}

static enum wp_status own_sections(struct wp_sql *sql, const struct wp_who *who, cJSON *out)
{
    enum wp_status status = wp_add_rows(
        sql, out, "sections",
        "SELECT s.id, c.code AS course, c.title AS course_title, s.code, s.title, s.place, "
        "(SELECT count(*) FROM enrolled e WHERE e.section_id = s.id AND e.to_us IS NULL) AS "
        "students, (SELECT " ALL_NAMES " FROM "
        "section_staff t JOIN person p ON p.id = t.person_id WHERE t.section_id = s.id AND "
        "t.roles & 4 <> 0) AS instructors, coalesce((SELECT CASE WHEN s.ended_us IS NULL THEN "
        "t.roles ELSE t.roles & 4 END FROM section_staff t WHERE t.section_id = s.id AND "
        "t.person_id = ?1), 0) + coalesce((SELECT 1 FROM enrolled e WHERE "
        "e.section_id = s.id AND e.person_id = ?1 AND e.to_us IS NULL), 0) AS roles, "
        "EXISTS (SELECT 1 FROM meeting m WHERE m.section_id = s.id AND m.starts_us <= ?2 AND "
        "m.ends_us > ?2) AND s.ended_us IS NULL AS \"now?\", s.ended_us IS NOT NULL AS "
        "\"ended?\" FROM section s JOIN course c ON c.id = s.course_id ORDER BY s.ended_us IS NOT "
        "NULL, c.code, s.code LIMIT 1000",
        "ii", who->actor == WP_ACTOR_PERSON ? who->id : 0, wp_clock_utc());
    cJSON *list = cJSON_GetObjectItemCaseSensitive(out, "sections");
    for (int i = cJSON_GetArraySize(list) - 1; i >= 0; i--) {
        cJSON *item = cJSON_GetArrayItem(list, i);
        unsigned roles =
            (unsigned)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(item, "roles"));
        if (!roles && !(who->roles & SITE_STAFF))
            cJSON_DeleteItemFromArray(list, i);
        else
            cJSON_ReplaceItemInObjectCaseSensitive(item, "roles", role_names(roles));
    }
    return status;
}

WP_VIEW(wp_view_sections)
{
    (void)error;
    *out = cJSON_CreateObject();
    return own_sections(sql, ask->who, *out);
}

static enum wp_status add_person(struct wp_sql *sql, const struct wp_who *who, cJSON *out)
{
    if (who->actor != WP_ACTOR_PERSON) {
        cJSON_AddNullToObject(out, "person");
        return WP_OK;
    }
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT id, login, trim(given || ' ' || family) AS name, given FROM person WHERE id = ?",
        "i", who->id);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    cJSON_AddItemToObject(out, "person", found ? wp_row_object(&rows) : cJSON_CreateNull());
    return wp_rows_end(&rows);
}

WP_VIEW(wp_view_me)
{
    (void)error;
    *out = cJSON_CreateObject();
    enum wp_status status = add_person(sql, ask->who, *out);
    cJSON_AddItemToObject(*out, "roles", role_names(ask->who->roles));
    if (ask->who->actor == WP_ACTOR_BENCH) {
        cJSON *bench = cJSON_AddObjectToObject(*out, "bench");
        cJSON_AddNumberToObject(bench, "instrument", (double)ask->who->instrument);
    } else {
        cJSON_AddNullToObject(*out, "bench");
    }
    if (!status && ask->who->actor == WP_ACTOR_PERSON)
        status = own_sections(sql, ask->who, *out);
    else
        cJSON_AddArrayToObject(*out, "sections");
    return status;
}

WP_VIEW(wp_view_sessions)
{
    (void)error;
    char own[17];
    int64_t now = wp_clock_utc();
    wp_hex_encode(ask->who->session, 8, own);
    *out = cJSON_CreateObject();
    enum wp_status status =
        wp_add_rows(sql, *out, "sessions",
                    "SELECT " SESSION_KEY " AS key, created_us, used_us, expires_us "
                    "FROM session WHERE person_id = ? AND used_us > ? ORDER BY used_us DESC",
                    "ii", ask->who->id, now - WP_SESSION_IDLE);
    cJSON *list = cJSON_GetObjectItemCaseSensitive(*out, "sessions");
    for (int i = cJSON_GetArraySize(list) - 1; i >= 0; i--) {
        cJSON *item = cJSON_GetArrayItem(list, i);
        const cJSON *ends = cJSON_GetObjectItemCaseSensitive(item, "expires_us");
        if (cJSON_GetNumberValue(ends) <= (double)now) {
            cJSON_DeleteItemFromArray(list, i);
            continue;
        }
        const char *key = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(item, "key"));
        cJSON_AddBoolToObject(item, "here", key && !strcmp(key, own));
    }
    return status;
}

/* One cell of the grid per student and experiment; the measurements come in one query and are put
 * where they belong. */
static cJSON *cell_of(cJSON *student, int64_t experiment)
{
    cJSON *cells = cJSON_GetObjectItemCaseSensitive(student, "cells"), *cell = NULL;
    cJSON_ArrayForEach(cell, cells)
    {
        if ((int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(cell, "experiment")) ==
            experiment)
            return cell;
    }
    cell = cJSON_CreateObject();
    cJSON_AddNumberToObject(cell, "experiment", (double)experiment);
    cJSON_AddArrayToObject(cell, "measurements");
    cJSON_AddItemToArray(cells, cell);
    return cell;
}

static cJSON *student_of(cJSON *students, int64_t id)
{
    cJSON *student = NULL;
    cJSON_ArrayForEach(student, students)
    {
        if ((int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(student, "id")) == id)
            return student;
    }
    return NULL;
}

static enum wp_status fill_cells(struct wp_sql *sql, int64_t section, cJSON *students)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT o.person_id, coalesce(m.experiment_id, 0), m.id, m.accession, m.verdict, "
        "m.counts, m.kept, m.measured_us, s.sample FROM measurement m JOIN owned o "
        "ON o.measurement_id = m.id JOIN stamp s ON s.id = m.stamp_id WHERE m.section_id = ? "
        "ORDER BY m.id DESC LIMIT 20000",
        "i", section);
    if (status)
        return status;
    while (wp_rows_next(&rows)) {
        cJSON *student = student_of(students, wp_rows_int(&rows, 0));
        if (!student)
            continue;
        char text[WP_ACCESSION_ROOM];
        wp_accession_format((uint64_t)wp_rows_int(&rows, 3), text);
        cJSON *item = cJSON_CreateObject();
        cJSON_AddNumberToObject(item, "id", (double)wp_rows_int(&rows, 2));
        cJSON_AddStringToObject(item, "accession", text);
        cJSON_AddStringToObject(item, "verdict", wp_rows_text(&rows, 4));
        cJSON_AddBoolToObject(item, "counts", wp_rows_int(&rows, 5) != 0);
        cJSON_AddStringToObject(item, "kept", wp_rows_text(&rows, 6));
        cJSON_AddNumberToObject(item, "measured_us", (double)wp_rows_int(&rows, 7));
        cJSON_AddStringToObject(item, "sample", wp_rows_text(&rows, 8));
        cJSON *cell = cell_of(student, wp_rows_int(&rows, 1));
        cJSON_AddItemToArray(cJSON_GetObjectItemCaseSensitive(cell, "measurements"), item);
    }
    return wp_rows_end(&rows);
}

/* A marker sees "Student 1", "Student 2": the same order all through a page. */
static void hide_names(cJSON *students)
{
    cJSON *student = NULL;
    int number = 0;
    cJSON_ArrayForEach(student, students)
    {
        char text[32];
        (void)snprintf(text, sizeof text, "Student %d", ++number);
        cJSON_ReplaceItemInObjectCaseSensitive(student, "name", cJSON_CreateString(text));
        cJSON_ReplaceItemInObjectCaseSensitive(student, "number", cJSON_CreateString(""));
    }
}

static enum wp_status add_students(struct wp_sql *sql, const struct wp_who *who, int64_t section,
                                   cJSON *out)
{
    unsigned roles = 0;
    enum wp_status status = wp_section_roles(sql, who, section, &roles);
    bool hidden = !(roles & ~(unsigned)WP_ROLE_MARKER);
    /* The alphabet would tell a marker who is who: their order is a fixed one of no meaning. */
    if (!status)
        status = wp_add_rows(sql, out, "students",
                             "SELECT p.id, trim(p.given || ' ' || p.family) AS name, e.number, "
                             "e.to_us IS NOT NULL AS \"left?\" FROM enrolled e JOIN person p "
                             "ON p.id = e.person_id WHERE e.section_id = ?1 ORDER BY "
                             "CASE WHEN ?2 THEN p.id % 2147483647 * 48271 % 2147483647 END, "
                             "p.family, p.given, p.id",
                             "ii", section, hidden);
    cJSON *students = cJSON_GetObjectItemCaseSensitive(out, "students"), *student = NULL;
    cJSON_ArrayForEach(student, students) cJSON_AddArrayToObject(student, "cells");
    if (hidden)
        hide_names(students);
    return status ? status : fill_cells(sql, section, students);
}

WP_VIEW(wp_view_grid)
{
    int64_t section = 0, unclaimed = 0;
    if (!wp_ask_param_int(ask, 0, &section))
        return wp_fail(error, WP_NOT_FOUND, "There is no such section.");
    *out = cJSON_CreateObject();
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT s.id, c.code AS course, c.title AS course_title, s.code, s.title, "
                     "s.place FROM section s JOIN course c ON c.id = s.course_id WHERE s.id = ?",
                     "i", section);
    if (status)
        return status;
    if (wp_rows_next(&rows))
        cJSON_AddItemToObject(*out, "section", wp_row_object(&rows));
    status = wp_rows_end(&rows);
    if (!status)
        status = wp_add_rows(sql, *out, "experiments",
                             "SELECT e.id, e.code, e.title, e.expected FROM experiment e "
                             "JOIN section s ON s.course_id = e.course_id WHERE s.id = ? AND "
                             "? >= 0 ORDER BY e.code",
                             "ii", section, 0);
    if (!status)
        status = add_students(sql, ask->who, section, *out);
    if (!status)
        status = wp_sql_int(sql, &unclaimed,
                            "SELECT count(*) FROM measurement WHERE section_id = ? AND "
                            "unclaimed = 1",
                            "i", section);
    cJSON_AddNumberToObject(*out, "unclaimed", (double)unclaimed);
    return status;
}

WP_VIEW(wp_view_instruments)
{
    (void)error;
    const unsigned all = WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR;
    *out = cJSON_CreateObject();
    return wp_add_rows(sql, *out, "instruments",
                       "SELECT i.id, i.name, i.place, i.technique, i.accessory, i.preparation, "
                       "i.plates, i.name_pattern, i.how_to_export, i.cleaning_solvent, i.solvents, "
                       "i.lab_resolution, i.lab_scans, i.lab_low, i.lab_high, "
                       "p.name AS first_printer, q.name AS second_printer, "
                       "(SELECT count(*) FROM agent a WHERE a.instrument_id = i.id AND "
                       "a.revoked_us IS NULL) AS agents, (SELECT count(*) FROM bench b WHERE "
                       "b.instrument_id = i.id AND b.revoked_us IS NULL) AS benches, "
                       "(?1 OR EXISTS (SELECT 1 FROM section_staff y JOIN section z ON "
                       "z.id = y.section_id WHERE y.person_id = ?2 AND y.roles & 4 <> 0 AND "
                       "(z.place = '' OR i.place = z.place OR substr(i.place, 1, "
                       "length(z.place) + 1) = z.place || '/'))) AS \"brings?\" "
                       "FROM instrument i LEFT JOIN printer p ON p.id = i.first_printer_id "
                       "LEFT JOIN printer q ON q.id = i.second_printer_id "
                       "WHERE i.retired_us IS NULL ORDER BY i.name",
                       "ii", (int64_t)((ask->who->roles & all) != 0), ask->who->id);
}

WP_VIEW(wp_view_people)
{
    (void)error;
    const char *q = wp_ask_text(ask, "q");
    struct wp_rows rows;
    cJSON *list = NULL;
    *out = cJSON_CreateObject();
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT id, login, given, family, email, alias, roles, password_hash IS NOT NULL AS "
        "\"password?\" FROM person WHERE erased_us IS NULL AND (?1 = '' OR " HOLDS_WORD
        ") AND (?2 OR id = ?3 OR EXISTS (SELECT 1 FROM "
        "enrolled e JOIN section_staff t ON t.section_id = e.section_id WHERE e.person_id = "
        "person.id AND t.person_id = ?3 AND t.roles & 4 <> 0)) ORDER BY family, given LIMIT 500",
        "tii", q ? q : "", (int64_t)((ask->who->roles & SITE_STAFF) != 0), ask->who->id);
    if (!status)
        status = wp_rows_array(&rows, &list);
    cJSON *person = NULL;
    cJSON_ArrayForEach(person, list)
    {
        unsigned roles =
            (unsigned)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(person, "roles"));
        cJSON_ReplaceItemInObjectCaseSensitive(person, "roles", role_names(roles));
        cJSON *returned = NULL;
        if (!status)
            status = wp_mail_returned(
                sql, (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(person, "id")),
                &returned);
        cJSON_AddItemToObject(person, "returned", returned);
    }
    cJSON_AddItemToObject(*out, "people", list ? list : cJSON_CreateArray());
    return status;
}

WP_VIEW(wp_view_courses)
{
    (void)ask;
    (void)error;
    *out = cJSON_CreateObject();
    enum wp_status status =
        wp_add_rows(sql, *out, "courses",
                    "SELECT id, code, title, y_axis, x_scale, printing, mailing, pages_a_day "
                    "FROM course WHERE ? >= ? ORDER BY code",
                    "ii", 0, 0);
    cJSON *course = NULL;
    cJSON_ArrayForEach(course, cJSON_GetObjectItemCaseSensitive(*out, "courses"))
    {
        int64_t id = (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(course, "id"));
        if (!status)
            status = wp_add_rows(
                sql, course, "sections",
                "SELECT s.id, s.code, s.title, s.place, (SELECT code FROM term t WHERE t.id = "
                "s.term_id) AS term, s.ended_us, (SELECT count(*) FROM enrolled e WHERE "
                "e.section_id = s.id AND e.to_us IS NULL) AS students, (SELECT " STAFF_LIST
                " FROM section_staff t JOIN person p ON p.id = "
                "t.person_id WHERE t.section_id = s.id) AS \"staff{}\", (SELECT min(m.starts_us) "
                "FROM meeting m WHERE m.section_id = s.id AND m.ends_us > ?2) AS next_us, (SELECT "
                "min(m.ends_us) FROM meeting m WHERE m.section_id = s.id AND m.ends_us > ?2) AS "
                "next_ends_us "
                "FROM section s WHERE s.course_id = ?1 ORDER BY s.code",
                "ii", id, wp_clock_utc());
        if (!status)
            status = wp_add_rows(sql, course, "experiments",
                                 "SELECT e.id, e.code, e.title, e.technique, e.expected, "
                                 "e.preparation, e.plates, e.has_oh AS \"has_oh?\", e.ended_us, "
                                 "(SELECT " NAME_LIST " FROM (SELECT name FROM "
                                 "experiment_sample x WHERE x.experiment_id = e.id ORDER BY "
                                 "x.position)) AS \"samples{}\" FROM experiment "
                                 "e WHERE e.course_id = ? AND ? >= 0 ORDER BY e.code",
                                 "ii", id, 0);
    }
    return status;
}

WP_VIEW(wp_view_ledger)
{
    int64_t before = INT64_MAX, entries = 0;
    (void)wp_ask_int(ask, "before", &before);
    *out = cJSON_CreateObject();
    enum wp_status status =
        wp_add_rows(sql, *out, "entries",
                    "SELECT number, at_us, actor, actor_id, verb, subject, " HASH_TEXT " AS "
                    "hash FROM ledger WHERE number < ? AND ? >= 0 ORDER BY number DESC LIMIT 100",
                    "ii", before, 0);
    if (status || !wp_ask_flag(ask, "check"))
        return status;
    struct wp_error found = {0};
    enum wp_status sound = wp_ledger_check(sql, &entries, &found);
    if (sound && sound != WP_INVALID)
        return wp_fail(error, sound, "The ledger could not be read to its end.");
    cJSON_AddBoolToObject(*out, "sound", sound == WP_OK);
    cJSON_AddNumberToObject(*out, "checked", (double)entries);
    if (sound)
        cJSON_AddStringToObject(*out, "fault", found.text);
    return WP_OK;
}
