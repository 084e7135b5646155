/* Printers and deliveries as lists. Names of persons are joined above, in views/. */
#include <stdio.h>
#include <string.h>

#include "acts.h"

enum { LIST_MOST = 100 };

/* One row as an object: every column under its own name, as `kinds` has it: 't' text, 'i' number;
 * NULL as null. NULL if out of memory. */
static cJSON *row_object(struct wp_rows *rows, const char *kinds)
{
    cJSON *object = cJSON_CreateObject();
    int columns = wp_rows_columns(rows);
    for (int i = 0; object != NULL && i < columns; i++) {
        const char *name = wp_rows_name(rows, i);
        cJSON *added;
        if (wp_rows_null(rows, i))
            added = cJSON_AddNullToObject(object, name);
        else if (kinds[i] == 't')
            added = cJSON_AddStringToObject(object, name, wp_rows_text(rows, i));
        else
            added = cJSON_AddNumberToObject(object, name, (double)wp_rows_int(rows, i));
        if (added == NULL) {
            cJSON_Delete(object);
            return NULL;
        }
    }
    return object;
}

/* All rows as an array; ends the reading. */
static enum wp_status rows_array(struct wp_rows *rows, const char *kinds, cJSON **array)
{
    enum wp_status status = WP_OK;
    *array = cJSON_CreateArray();
    while (!status && wp_rows_next(rows)) {
        cJSON *object = row_object(rows, kinds);
        if (*array == NULL || object == NULL || !cJSON_AddItemToArray(*array, object)) {
            cJSON_Delete(object);
            status = WP_NO_MEMORY;
        }
    }
    enum wp_status end = wp_rows_end(rows);
    status = end ? end : status;
    if (!status && *array != NULL)
        return WP_OK;
    cJSON_Delete(*array);
    *array = NULL;
    return status ? status : WP_NO_MEMORY;
}

/* {"name": array}; takes the array. */
static enum wp_status wrap(cJSON *array, const char *name, cJSON **out)
{
    *out = cJSON_CreateObject();
    if (*out != NULL && cJSON_AddItemToObject(*out, name, array))
        return WP_OK;
    cJSON_Delete(array);
    cJSON_Delete(*out);
    *out = NULL;
    return WP_NO_MEMORY;
}

/* The only element of an array that is taken; WP_NOT_FOUND if it is empty. */
static enum wp_status only_one(cJSON *array, const char *what, cJSON **out, struct wp_error *error)
{
    *out = cJSON_DetachItemFromArray(array, 0);
    cJSON_Delete(array);
    return *out != NULL ? WP_OK : wp_fail(error, WP_NOT_FOUND, "There is no such %s.", what);
}

#define PRINTER_COLUMNS                                                                            \
    "SELECT id, name, uri, place, where_text AS \"where\", paper, language, behind_most, mode,"    \
    " mode_reason, state, state_text, reasons, model, media, sides, colour, jobs, seen_us,"        \
    " (SELECT COUNT(*) FROM delivery WHERE printer_id = printer.id"                                \
    " AND state IN ('sending', 'printing', 'uncertain')) AS sheets"                                \
    " FROM printer WHERE retired_us IS NULL "
static const char printer_kinds[] = "ittttttittttttttiiii";

enum wp_status wp_printer_view_list(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error)
{
    (void)ask;
    (void)error;
    struct wp_rows rows;
    cJSON *array;
    enum wp_status status = wp_sql_query(sql, &rows, PRINTER_COLUMNS "ORDER BY name", "");
    if (!status)
        status = rows_array(&rows, printer_kinds, &array);
    return status ? status : wrap(array, "printers", out);
}

enum wp_status wp_printer_json(struct wp_sql *sql, int64_t id, cJSON **out, struct wp_error *error)
{
    struct wp_rows rows;
    cJSON *array;
    enum wp_status status = wp_sql_query(sql, &rows, PRINTER_COLUMNS "AND id = ?", "i", id);
    if (!status)
        status = rows_array(&rows, printer_kinds, &array);
    return status ? status : only_one(array, "printer", out, error);
}

#define DELIVERY_COLUMNS                                                                           \
    "SELECT delivery.id, kind, measurement_id AS measurement, person_id AS person,"                \
    " instrument_id AS instrument, printer_id AS printer, printer.name AS printer_name,"           \
    " printer.where_text AS printer_where, delivery.state, reason, pages, mailing, attempts,"      \
    " withdraw AS taking_back, delivery.created_us, delivery.changed_us"                           \
    " FROM delivery LEFT JOIN printer ON printer.id = delivery.printer_id "
static const char delivery_kinds[] = "itiiiittttitiiii";

/* People see their own, benches their instrument's; staff are bounded by their sections alone. */
static void narrow(const struct wp_ask *ask, int64_t *person, int64_t *instrument)
{
    *person = -1;
    *instrument = -1;
    if (wp_is_staff(ask->who))
        (void)wp_ask_int(ask, "person", person);
    else if (ask->who->actor == WP_ACTOR_BENCH)
        *instrument = ask->who->instrument;
    else
        *person = ask->who->id;
}

enum wp_status wp_delivery_view_list(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error)
{
    int64_t person;
    int64_t instrument;
    int64_t printer = -1;
    int64_t measurement = -1;
    int64_t before = INT64_MAX;
    enum wp_delivery_state state;
    const char *wanted = wp_ask_text(ask, "state");
    if (wanted != NULL && !wp_delivery_state_read(wanted, &state))
        return wp_fail(error, WP_INVALID, "There is no such state.");
    narrow(ask, &person, &instrument);
    (void)wp_ask_int(ask, "printer", &printer);
    (void)wp_ask_int(ask, "measurement", &measurement);
    (void)wp_ask_int(ask, "before", &before);
    struct wp_rows rows;
    cJSON *array;
    const char *state_text = wanted != NULL ? wanted : "";
    enum wp_status status = wp_sql_query(
        sql, &rows,
        DELIVERY_COLUMNS "WHERE delivery.id < ?1 AND (?2 OR " WP_DELIVERY_IS_THEIRS
                         ") AND (?4 < 0 OR person_id = ?4) AND (?5 < 0 OR instrument_id = ?5)"
                         " AND (?6 < 0 OR printer_id = ?6) AND (?7 < 0 OR measurement_id = ?7)"
                         " AND (?8 = '' OR delivery.state = ?8) ORDER BY delivery.id DESC LIMIT ?9",
        "iiiiiiiti", before, (int64_t)(wp_is_site_staff(ask->who) || !wp_is_staff(ask->who)),
        ask->who->id, person, instrument, printer, measurement, state_text, (int64_t)LIST_MOST);
    if (!status)
        status = rows_array(&rows, delivery_kinds, &array);
    return status ? status : wrap(array, "deliveries", out);
}

static enum wp_status add_events(struct wp_sql *sql, int64_t id, cJSON *delivery)
{
    struct wp_rows rows;
    cJSON *array;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT at_us, state, printer_id AS printer, reason, actor, actor_id"
                     " FROM delivery_event WHERE delivery_id = ? ORDER BY number LIMIT 1000",
                     "i", id);
    if (!status)
        status = rows_array(&rows, "ititii", &array);
    if (status)
        return status;
    if (cJSON_AddItemToObject(delivery, "events", array))
        return WP_OK;
    cJSON_Delete(array);
    return WP_NO_MEMORY;
}

enum wp_status wp_delivery_json(struct wp_sql *sql, int64_t id, bool events, cJSON **out,
                                struct wp_error *error)
{
    struct wp_rows rows;
    cJSON *array;
    enum wp_status status =
        wp_sql_query(sql, &rows, DELIVERY_COLUMNS "WHERE delivery.id = ?", "i", id);
    if (!status)
        status = rows_array(&rows, delivery_kinds, &array);
    if (!status)
        status = only_one(array, "delivery", out, error);
    if (!status && events)
        status = add_events(sql, id, *out);
    if (status) {
        cJSON_Delete(*out);
        *out = NULL;
    }
    return status;
}

enum wp_status wp_delivery_view_one(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error)
{
    int64_t id;
    enum wp_status status = wp_ask_id(ask, &id, error);
    if (!status)
        status = wp_delivery_allowed(sql, ask, id, NULL, error);
    return status ? status : wp_delivery_json(sql, id, true, out, error);
}
