/* People at a bench besides the rosters: who showed a card, who waits; and one's own card. */
#include "base/clock.h"
#include "people/cards.h"
#include "people/waiting.h"
#include "rows.h"
#include "views/bench.h"

/* The section as the bench's state has it, but without its roster. */
static enum wp_status add_section(struct wp_sql *sql, int64_t instrument, int64_t section,
                                  cJSON *out)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT s.id, c.code AS course, s.code, s.title, EXISTS (SELECT 1 FROM meeting m JOIN "
        "instrument i ON i.id = ?2 WHERE m.section_id = s.id AND m.starts_us <= ?3 AND "
        "m.ends_us > ?3 AND (s.place = '' OR i.place = s.place OR substr(i.place, 1, "
        "length(s.place) + 1) = s.place || '/')) AS \"now?\" FROM section s JOIN course c "
        "ON c.id = s.course_id WHERE s.id = ?1",
        "iii", section, instrument, wp_clock_utc());
    if (status)
        return status;
    cJSON *object = wp_rows_next(&rows) ? wp_row_object(&rows) : cJSON_CreateObject();
    cJSON_AddItemToObject(out, "section", object);
    cJSON_AddArrayToObject(object, "roster");
    status = wp_rows_end(&rows);
    return status ? status : wp_bench_experiments(sql, section, object);
}

/* Who has the open turn, and whether the person is one of them. */
static enum wp_status add_open_turn(struct wp_sql *sql, int64_t instrument, int64_t person,
                                    cJSON *out)
{
    int64_t mine = 0;
    enum wp_status status =
        wp_add_rows(sql, out, "open",
                    "SELECT p.id, " WP_SHORT_NAME
                    "FROM turn t JOIN turn_person x ON x.turn_id = t.id JOIN person p "
                    "ON p.id = x.person_id WHERE t.instrument_id = ? AND t.closed_us IS NULL AND "
                    "? >= 0 ORDER BY name LIMIT 8",
                    "ii", instrument, 0);
    const cJSON *one = NULL;
    cJSON_ArrayForEach(one, cJSON_GetObjectItemCaseSensitive(out, "open"))
    {
        mine |=
            (int64_t)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(one, "id")) == person;
    }
    cJSON_AddBoolToObject(out, "mine", mine != 0);
    return status;
}

enum wp_status wp_view_bench_person(struct wp_sql *sql, int64_t instrument, int64_t person,
                                    cJSON **out, struct wp_error *error)
{
    int64_t section = 0;
    struct wp_rows rows;
    enum wp_status status = wp_person_section(sql, instrument, person, wp_clock_utc(), &section);
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "This person is in no section. Ask staff.");
    if (!status)
        status = wp_sql_query(sql, &rows,
                              "SELECT p.id, " WP_SHORT_NAME "FROM person p WHERE "
                              "p.id = ?",
                              "i", person);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    cJSON_AddItemToObject(*out, "person",
                          wp_rows_next(&rows) ? wp_row_object(&rows) : cJSON_CreateNull());
    status = wp_rows_end(&rows);
    if (!status)
        status = add_open_turn(sql, instrument, person, *out);
    return status ? status : add_section(sql, instrument, section, *out);
}

enum wp_status wp_bench_waiting(struct wp_sql *sql, int64_t instrument, cJSON *out)
{
    int64_t known = 0, now = wp_clock_utc();
    cJSON *waiting = cJSON_AddObjectToObject(out, "waiting");
    enum wp_status status =
        wp_add_rows(sql, waiting, "people",
                    "SELECT p.id, " WP_SHORT_NAME
                    ", w.since_us FROM waiting w JOIN person p ON p.id = w.person_id WHERE "
                    "w.instrument_id = ? AND w.listed = 1 AND w.until_us > ? "
                    "ORDER BY w.since_us, p.id LIMIT 60",
                    "ii", instrument, now);
    if (!status)
        status = wp_sql_int(sql, &known,
                            "SELECT count(*) FROM waiting WHERE instrument_id = ? AND until_us > ?",
                            "ii", instrument, now);
    cJSON_AddBoolToObject(waiting, "offered", known > WP_WAIT_OFFERED);
    return status;
}

WP_VIEW(wp_view_card)
{
    struct wp_rows rows;
    (void)error;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT " WP_SHORT_NAME ", b.card_hash IS NOT NULL AS \"card?\", b.card_us, b.pin_hash "
        "IS NOT NULL AS \"pin?\", b.pin_us FROM person p LEFT JOIN bench_card b "
        "ON b.person_id = p.id WHERE p.id = ?",
        "i", ask->who->id);
    if (status)
        return status;
    *out = wp_rows_next(&rows) ? wp_row_object(&rows) : cJSON_CreateObject();
    return wp_rows_end(&rows);
}

WP_VIEW(wp_view_card_names)
{
    int64_t section = 0;
    struct wp_rows rows;
    if (!wp_ask_param_int(ask, 0, &section))
        return wp_fail(error, WP_NOT_FOUND, "There is no such section.");
    enum wp_status status = wp_sql_query(sql, &rows,
                                         "SELECT c.code || ' ' || s.code AS title FROM section s "
                                         "JOIN course c ON c.id = s.course_id WHERE s.id = ?",
                                         "i", section);
    if (status)
        return status;
    *out = wp_rows_next(&rows) ? wp_row_object(&rows) : cJSON_CreateObject();
    status = wp_rows_end(&rows);
    return status ? status
                  : wp_add_rows(sql, *out, "people",
                                "SELECT p.id, " WP_SHORT_NAME
                                "FROM enrolled e JOIN person p ON p.id = e.person_id WHERE "
                                "e.section_id = ? AND e.to_us IS NULL AND ? >= 0 ORDER BY name",
                                "ii", section, 0);
}
