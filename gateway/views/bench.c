#include "views/bench.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "base/sql_words.h"
#include "people/timetable.h"
#include "people/turns.h"
#include "rows.h"
#include "views/classes.h"

/* What engines write differently. */
#define SUGGESTED WP_SQL_JSON_ITEMS("m.suggestion")
#define NAME_LIST WP_SQL_JSON_LIST("name")

static enum wp_status add_instrument(struct wp_sql *sql, int64_t id, cJSON *out,
                                     struct wp_error *error)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT id, name, place, accessory, how_to_export, preparation, plates, "
        "paused_until_us > ? AS \"paused?\", paused_until_us, (SELECT p.changed_us FROM "
        "instrument_picture p WHERE p.instrument_id = instrument.id) AS picture "
        "FROM instrument WHERE id = ?",
        "ii", wp_clock_utc(), id);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found)
        cJSON_AddItemToObject(out, "instrument", wp_row_object(&rows));
    status = wp_rows_end(&rows);
    return status || found ? status : wp_fail(error, WP_NOT_FOUND, "There is no such instrument.");
}

static enum wp_status read_turn(struct wp_sql *sql, int64_t instrument, cJSON **turn, int64_t *id)
{
    struct wp_rows rows;
    *turn = NULL;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT t.id, t.guest, t.section_id AS section, t.experiment_id AS experiment, "
        "t.sample, t.kind, t.preparation, t.plates, t.opened_us, c.code AS course, "
        "n.code AS section_code, e.code AS experiment_code, e.title AS experiment_title, "
        "coalesce(e.expected, 0) AS expected, "
        "(SELECT count(*) FROM measurement m WHERE m.turn_id = t.id AND m.kept <> 'again') AS seen "
        "FROM turn t LEFT JOIN section n ON n.id = t.section_id LEFT JOIN course c "
        "ON c.id = n.course_id LEFT JOIN experiment e ON e.id = t.experiment_id "
        "WHERE t.instrument_id = ? AND t.closed_us IS NULL ORDER BY t.opened_us DESC LIMIT 1",
        "i", instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        *id = wp_rows_int(&rows, 0);
        *turn = wp_row_object(&rows);
    }
    return wp_rows_end(&rows);
}

static enum wp_status add_turn(struct wp_sql *sql, int64_t instrument, cJSON *out, int64_t *id)
{
    cJSON *turn = NULL;
    *id = 0;
    enum wp_status status = read_turn(sql, instrument, &turn, id);
    if (!turn) {
        cJSON_AddNullToObject(out, "turn");
        return status;
    }
    cJSON_AddItemToObject(out, "turn", turn);
    return status ? status
                  : wp_add_rows(sql, turn, "persons",
                                "SELECT p.id, " WP_SHORT_NAME
                                "FROM turn_person t JOIN person p ON p.id = t.person_id "
                                "WHERE t.turn_id = ? AND ? >= 0 ORDER BY name",
                                "ii", *id, 0);
}

/* A measurement as the bench may show it: names short, the stamped person's only while the turn is
 * open. */
static enum wp_status bench_measurement(struct wp_sql *sql, const struct wp_ask *ask, int64_t id,
                                        cJSON **out)
{
    enum wp_status status = wp_measurement_json(sql, ask->who, id, out);
    if (status)
        return status;
    cJSON_DeleteItemFromObjectCaseSensitive(*out, "persons");
    cJSON_DeleteItemFromObjectCaseSensitive(*out, "suggestion");
    status = wp_add_rows(sql, *out, "persons",
                         "SELECT p.id, " WP_SHORT_NAME
                         "FROM owned o JOIN person p ON p.id = o.person_id "
                         "WHERE o.measurement_id = ? AND ? >= 0 ORDER BY name",
                         "ii", id, 0);
    cJSON *remarks = cJSON_GetObjectItemCaseSensitive(*out, "remarks"), *remark = NULL;
    for (int i = cJSON_GetArraySize(remarks) - 1; i >= 0; i--) {
        remark = cJSON_GetArrayItem(remarks, i);
        if (cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(remark, "staff_only")))
            cJSON_DeleteItemFromArray(remarks, i);
    }
    return status;
}

/* What became of its sheet on paper: the newest delivery to a printer, as "print". */
static enum wp_status add_paper(struct wp_sql *sql, int64_t measurement, cJSON *object)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT id, kind, state, reason, changed_us FROM delivery WHERE "
                     "measurement_id = ? AND kind = 'print' ORDER BY id DESC LIMIT 1",
                     "i", measurement);
    if (status)
        return status;
    if (wp_rows_next(&rows))
        cJSON_AddItemToObject(object, "print", wp_row_object(&rows));
    else
        cJSON_AddNullToObject(object, "print");
    return wp_rows_end(&rows);
}

/* The newest of the turn, or the newest without a name, whichever is newer; one that was printed
 * without a name stays a while, so that the page can say where. After hand-over a finished turn's
 * spectrum is gone from the page. */
static enum wp_status add_current(struct wp_sql *sql, const struct wp_ask *ask, int64_t instrument,
                                  int64_t turn, cJSON *out)
{
    int64_t id = 0;
    cJSON *current = NULL;
    int64_t now = wp_clock_utc();
    enum wp_status status = wp_sql_int(
        sql, &id,
        "SELECT m.id FROM measurement m JOIN capture c ON c.id = m.capture_id WHERE "
        "m.instrument_id = ?1 AND (m.turn_id = ?2 OR (m.unclaimed = 1 AND (m.asked = 1 "
        "OR m.kept = 'open' OR (?2 < 0 AND m.kept = 'kept' AND c.received_us > ?4)))) "
        "AND c.received_us > ?3 ORDER BY m.id DESC LIMIT 1",
        "iiii", instrument, turn ? turn : (int64_t)-1, now - WP_BENCH_SHOWS, now - 5 * WP_MINUTE);
    if (!status)
        status = bench_measurement(sql, ask, id, &current);
    if (!status)
        status = add_paper(sql, id, current);
    cJSON_AddItemToObject(out, "current", current ? current : cJSON_CreateNull());
    return status == WP_NOT_FOUND ? WP_OK : status;
}

static enum wp_status add_turn_list(struct wp_sql *sql, const struct wp_ask *ask, int64_t turn,
                                    cJSON *out)
{
    int64_t ids[32];
    size_t count = 0;
    cJSON *list = cJSON_AddArrayToObject(out, "turn_measurements");
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT id FROM measurement WHERE turn_id = ? ORDER BY id DESC", "i", turn);
    if (status)
        return status;
    while (count < 32 && wp_rows_next(&rows))
        ids[count++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    for (size_t i = 0; !status && i < count; i++) {
        cJSON *item = NULL;
        status = bench_measurement(sql, ask, ids[i], &item);
        cJSON_AddItemToArray(list, item ? item : cJSON_CreateNull());
    }
    return status;
}

/* "Still Maya R.?" about the oldest measurement that waits for an answer. */
static enum wp_status add_question(struct wp_sql *sql, const struct wp_ask *ask, int64_t instrument,
                                   cJSON *out)
{
    int64_t id = 0;
    enum wp_status status =
        wp_sql_int(sql, &id,
                   "SELECT m.id FROM measurement m JOIN capture c ON c.id = m.capture_id WHERE "
                   "m.instrument_id = ? AND m.asked = 1 AND m.unclaimed = 1 AND c.received_us > ? "
                   "ORDER BY m.id LIMIT 1",
                   "ii", instrument, wp_clock_utc() - WP_BENCH_SHOWS);
    if (status) {
        cJSON_AddNullToObject(out, "question");
        return status == WP_NOT_FOUND ? WP_OK : status;
    }
    cJSON *question = cJSON_AddObjectToObject(out, "question");
    cJSON *measurement = NULL;
    status = bench_measurement(sql, ask, id, &measurement);
    if (!status)
        status = add_paper(sql, id, measurement);
    cJSON_AddItemToObject(question, "measurement", measurement ? measurement : cJSON_CreateNull());
    if (!status)
        status = wp_add_rows(sql, question, "persons",
                             "SELECT p.id, " WP_SHORT_NAME "FROM measurement m, " SUGGESTED
                             " j JOIN person p "
                             "ON p.id = j.value WHERE m.id = ? AND ? >= 0",
                             "ii", id, 0);
    if (!status) {
        struct wp_rows rows;
        status =
            wp_sql_query(sql, &rows,
                         "SELECT s.reason FROM measurement m JOIN stamp s ON s.id = m.stamp_id "
                         "WHERE m.id = ?",
                         "i", id);
        if (!status && wp_rows_next(&rows))
            cJSON_AddStringToObject(question, "text", wp_rows_text(&rows, 0));
        if (!status)
            status = wp_rows_end(&rows);
    }
    return status;
}

enum wp_status wp_bench_experiments(struct wp_sql *sql, int64_t section, cJSON *object)
{
    return wp_add_rows(sql, object, "experiments",
                       "SELECT e.id, e.code, e.title, e.expected, e.preparation, e.plates, "
                       "(SELECT " NAME_LIST " FROM (SELECT name FROM experiment_sample x "
                       "WHERE x.experiment_id = e.id ORDER BY x.position)) AS \"samples{}\" "
                       "FROM experiment e JOIN section s ON s.course_id = e.course_id "
                       "WHERE s.id = ? AND e.ended_us IS NULL AND ? >= 0 ORDER BY e.code",
                       "ii", section, 0);
}

/* Only the rosters of the sections that meet here now are on a bench; outside class, of those that
 * are at home at this instrument and have not ended, so that an evening run can be signed on too.
 */
static enum wp_status add_sections(struct wp_sql *sql, int64_t instrument, cJSON *out)
{
    enum wp_status status = wp_add_rows(
        sql, out, "sections",
        "WITH at_work AS (SELECT DISTINCT s.id FROM section s JOIN meeting m ON m.section_id = "
        "s.id "
        "JOIN instrument i ON i.id = ?1 WHERE m.starts_us <= ?2 AND m.ends_us > ?2 "
        "AND " WP_MEETS_AT_INSTRUMENT ") "
        "SELECT s.id, c.code AS course, s.code, s.title, s.id IN (SELECT id FROM at_work) AS "
        "\"now?\" FROM section s JOIN course c ON c.id = s.course_id WHERE s.ended_us IS NULL AND "
        "(s.id IN (SELECT id FROM at_work) OR (NOT EXISTS (SELECT 1 FROM at_work) AND EXISTS "
        "(SELECT 1 FROM instrument i WHERE i.id = ?1 AND " WP_SECTION_AT_INSTRUMENT(
            "s") "))) "
                 "ORDER BY c.code, s.code LIMIT 40",
        "ii", instrument, wp_clock_utc());
    cJSON *section = NULL;
    cJSON_ArrayForEach(section, cJSON_GetObjectItemCaseSensitive(out, "sections"))
    {
        int64_t id = (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(section, "id"));
        if (!status)
            status = wp_add_rows(sql, section, "roster",
                                 "SELECT p.id, " WP_SHORT_NAME
                                 "FROM enrolled e JOIN person p ON p.id = e.person_id "
                                 "WHERE e.section_id = ? AND e.to_us IS NULL AND ? >= 0 "
                                 "ORDER BY name LIMIT 400",
                                 "ii", id, 0);
        if (!status)
            status = wp_bench_experiments(sql, id, section);
    }
    return status;
}

/* The file's own name goes before what is wrong with it; kept apart in the tables, so that it goes
 * with its capture when that is removed. */
static void name_file(cJSON *message)
{
    cJSON *path = cJSON_DetachItemFromObjectCaseSensitive(message, "path");
    const char *name = cJSON_GetStringValue(path);
    const char *why = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(message, "text"));
    char text[1024];
    for (const char *at = name; at && *at; at++)
        if (*at == '/' || *at == '\\')
            name = at + 1;
    if (name && *name && why) {
        (void)snprintf(text, sizeof text, "\u201c%.255s\u201d: %s", name, why);
        cJSON_ReplaceItemInObjectCaseSensitive(message, "text", cJSON_CreateString(text));
    }
    cJSON_Delete(path);
}

/* What happened in a turn is no business of the next one; what lasts is. */
static enum wp_status add_messages(struct wp_sql *sql, int64_t instrument, cJSON *out)
{
    enum wp_status status = wp_add_rows(
        sql, out, "messages",
        "WITH latest AS (SELECT coalesce(max(closed_us), 0) AS closed FROM turn WHERE "
        "instrument_id = ?1) SELECT at_us, kind, text, path FROM (SELECT at_us, kind, text, '' AS "
        "path FROM agent_event WHERE instrument_id = ?1 AND at_us > ?2 AND (kind = 'folder-lost' "
        "OR at_us > (SELECT closed FROM latest)) UNION ALL SELECT n.at_us, n.kind, n.text, CASE "
        "n.kind WHEN 'unread' THEN c.path ELSE '' END FROM notice n LEFT JOIN capture c ON c.id = "
        "n.capture_id WHERE n.instrument_id = ?1 AND ((n.at_us > ?2 AND n.at_us > (SELECT closed "
        "FROM latest) AND n.kind IN ('saved-again', 'unread')) OR (n.kind = 'instrument' AND "
        "n.settled_us IS NULL))) ORDER BY at_us DESC LIMIT 5",
        "ii", instrument, wp_clock_utc() - 10 * WP_MINUTE);
    cJSON *message = NULL;
    cJSON_ArrayForEach(message, cJSON_GetObjectItemCaseSensitive(out, "messages"))
        name_file(message);
    return status;
}

static enum wp_status add_printer(struct wp_sql *sql, int64_t instrument, cJSON *out)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT p.name, p.state, p.state_text, p.where_text AS \"where\" FROM instrument i "
        "JOIN printer p ON p.id = i.first_printer_id WHERE i.id = ? AND p.retired_us IS NULL",
        "i", instrument);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    cJSON_AddItemToObject(out, "printer", found ? wp_row_object(&rows) : cJSON_CreateNull());
    return wp_rows_end(&rows);
}

/* The usual cautions; local rules and the SDS go before them. Common practice, no source. */
static void add_cautions(cJSON *out)
{
    cJSON *cautions = cJSON_AddObjectToObject(out, "cautions");
    cJSON_AddStringToObject(
        cautions, "sign_on",
        "Gloves off for keys and screens. Goggles on. Solvent stays in the hood.");
    cJSON_AddStringToObject(cautions, "preparation",
                            "Salt plates: no water, no wet sample. Hold by the edges.");
    cJSON_AddStringToObject(
        cautions, "pellet",
        "Never grind or press azides, perchlorates, nitro compounds or unknowns "
        "without staff.");
    cJSON *hand_over = cJSON_AddArrayToObject(cautions, "hand_over");
    cJSON_AddItemToArray(hand_over,
                         cJSON_CreateString("Take your sample. Plates wiped and back in the "
                                            "desiccator? Next, please."));
    cJSON_AddItemToArray(hand_over, cJSON_CreateString("Broken plate: tell staff, sharps bin, not "
                                                       "by hand."));
}

WP_VIEW(wp_view_bench)
{
    int64_t instrument = 0, turn = 0;
    if (!wp_ask_param_int(ask, 0, &instrument))
        return wp_fail(error, WP_NOT_FOUND, "There is no such instrument.");
    *out = cJSON_CreateObject();
    cJSON_AddNumberToObject(*out, "now_us", (double)wp_clock_utc());
    enum wp_status status = add_instrument(sql, instrument, *out, error);
    if (!status)
        status = add_turn(sql, instrument, *out, &turn);
    if (!status)
        status = add_question(sql, ask, instrument, *out);
    if (!status)
        status = add_current(sql, ask, instrument, turn, *out);
    if (!status)
        status = add_turn_list(sql, ask, turn, *out);
    if (!status)
        status = add_sections(sql, instrument, *out);
    if (!status)
        status = wp_bench_nothing(sql, instrument, *out);
    if (!status)
        status = wp_bench_waiting(sql, instrument, *out);
    if (!status)
        status = add_messages(sql, instrument, *out);
    if (!status)
        status = add_printer(sql, instrument, *out);
    add_cautions(*out);
    return status;
}
