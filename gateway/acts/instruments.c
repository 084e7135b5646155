#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/fleet_acts.h"
#include "base/id.h"
#include "base/secret.h"
#include "people/persons.h"
#include "places/places.h"

static enum wp_status note(struct wp_txn *txn, const struct wp_ask *ask, const char *verb,
                           const char *table, int64_t id)
{
    return wp_ask_record(txn, ask, verb, table, id,
                         ask->who->command_name[0] ? ask->who->command_name : NULL);
}

static enum wp_status new_code(struct wp_txn *txn, int64_t instrument, const char *kind,
                               char code[WP_CODE_ROOM])
{
    unsigned char hash[WP_HASH_SIZE];
    wp_code_new(code);
    wp_token_hash(code, hash);
    return wp_sql_run(txn->sql,
                      "INSERT INTO join_code (code_hash, kind, instrument_id, created_us, "
                      "expires_us) VALUES (?, ?, ?, ?, ?)",
                      "btiii", hash, sizeof hash, kind, instrument, txn->now,
                      txn->now + WP_JOIN_LIFE);
}

static enum wp_status setting(struct wp_sql *sql, const char *name, char *value, size_t room)
{
    struct wp_rows rows;
    value[0] = '\0';
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT value FROM setting WHERE name = ?", "t", name);
    if (status)
        return status;
    if (wp_rows_next(&rows))
        (void)snprintf(value, room, "%s", wp_rows_text(&rows, 0));
    return wp_rows_end(&rows);
}

static enum wp_status add_join(struct wp_txn *txn, const struct wp_ask *ask, int64_t instrument,
                               cJSON *object, struct wp_error *error)
{
    char code[WP_CODE_ROOM], url[256], pin[64], join[400];
    const char *override = wp_ask_text(ask, "public_url");
    enum wp_status status = setting(txn->sql, "public_url", url, sizeof url);
    if (!status)
        status = setting(txn->sql, "pin", pin, sizeof pin);
    if (override)
        (void)snprintf(url, sizeof url, "%s", override);
    if (!status && !url[0])
        return wp_fail(error, WP_CONFLICT,
                       "The gateway has not been started in this folder yet, so its address is "
                       "not known; start it once, or give --public-url.");
    if (!status)
        status = new_code(txn, instrument, "agent", code);
    if (status)
        return status;
    size_t length = strlen(url);
    while (length && url[length - 1] == '/')
        url[--length] = '\0';
    (void)snprintf(join, sizeof join, "%s/join#%s%s%s", url, code, pin[0] ? ":" : "", pin);
    cJSON_AddStringToObject(object, "join", join);
    return note(txn, ask, "join-code", "instrument", instrument);
}

/* Columns that are set by texts and numbers of the body, with their bounds. */
static const struct {
    const char *name;
    const char *says; /* as the page and a person call it */
    size_t most;
    const char *update;
} texts[] = {
    {"technique", "The technique", 16, "UPDATE instrument SET technique = ? WHERE id = ?"},
    {"accessory", "The accessory", 64, "UPDATE instrument SET accessory = ? WHERE id = ?"},
    {"preparation", "The usual preparation", 24,
     "UPDATE instrument SET preparation = ? WHERE id = ?"},
    {"plates", "The usual plates", 16, "UPDATE instrument SET plates = ? WHERE id = ?"},
    {"name_pattern", "The pattern of names", 100,
     "UPDATE instrument SET name_pattern = ? WHERE id = ?"},
    {"how_to_export", "How to export", 1000,
     "UPDATE instrument SET how_to_export = ? WHERE id = ?"},
    {"cleaning_solvent", "The cleaning solvent", 60,
     "UPDATE instrument SET cleaning_solvent = ? WHERE id = ?"},
    {"solvents", "The solvents", 200, "UPDATE instrument SET solvents = ? WHERE id = ?"},
};
static const struct {
    const char *name;
    const char *says;
    int64_t most;
    const char *update;
} numbers[] = {
    {"lab_resolution", "The lab's resolution", 64,
     "UPDATE instrument SET lab_resolution = ? WHERE id = ?"},
    {"lab_scans", "The lab's number of scans", 100000,
     "UPDATE instrument SET lab_scans = ? WHERE id = ?"},
    {"lab_low", "The lab's lowest wavenumber", 100000,
     "UPDATE instrument SET lab_low = ? WHERE id = ?"},
    {"lab_high", "The lab's highest wavenumber", 100000,
     "UPDATE instrument SET lab_high = ? WHERE id = ?"},
};

static enum wp_status set_columns(struct wp_txn *txn, const struct wp_ask *ask, int64_t id,
                                  struct wp_error *error)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < sizeof texts / sizeof texts[0]; i++) {
        const char *text = wp_ask_text(ask, texts[i].name);
        if (!text)
            continue;
        if (!wp_typed_ok(text, texts[i].most, true))
            return wp_fail(error, WP_INVALID, "%s is plain text of at most %zu bytes.",
                           texts[i].says, texts[i].most);
        status = wp_sql_run(txn->sql, texts[i].update, "ti", text, id);
    }
    for (size_t i = 0; !status && i < sizeof numbers / sizeof numbers[0]; i++) {
        int64_t number = -1;
        if (!wp_ask_int_within(ask, numbers[i].name, 0, numbers[i].most, &number))
            return wp_fail(error, WP_INVALID, "%s is a whole number, at most %" PRId64 ".",
                           numbers[i].says, numbers[i].most);
        if (number < 0)
            continue;
        status = wp_sql_run(txn->sql, numbers[i].update, "ii", number, id);
    }
    return status;
}

/* A printer by id or by name; absent leaves the column, 0 or "" clears it. */
static enum wp_status set_printer(struct wp_txn *txn, const struct wp_ask *ask, int64_t id,
                                  const char *member, const char *update, struct wp_error *error)
{
    int64_t printer = 0;
    const char *name = wp_ask_text(ask, member);
    if (!wp_ask_int(ask, member, &printer)) {
        if (!name)
            return WP_OK;
        enum wp_status status =
            *name ? wp_sql_int(txn->sql, &printer,
                               "SELECT id FROM printer WHERE name = ? AND retired_us IS NULL", "t",
                               name)
                  : WP_OK;
        if (status == WP_NOT_FOUND)
            return wp_fail(error, status, "There is no printer \"%.64s\".", name);
        if (status)
            return status;
    }
    return wp_sql_run(txn->sql, update, "ii", printer, id);
}

static enum wp_status change(struct wp_txn *txn, const struct wp_ask *ask, int64_t id,
                             struct wp_error *error)
{
    enum wp_status status = set_columns(txn, ask, id, error);
    if (!status)
        status = set_printer(txn, ask, id, "first_printer",
                             "UPDATE instrument SET first_printer_id = nullif(?, 0) WHERE id = ?",
                             error);
    if (!status)
        status = set_printer(txn, ask, id, "second_printer",
                             "UPDATE instrument SET second_printer_id = nullif(?, 0) WHERE id = ?",
                             error);
    return status ? status : note(txn, ask, "setting", "instrument", id);
}

static cJSON *instrument_json(int64_t id, const char *name, const char *place)
{
    cJSON *object = cJSON_CreateObject();
    cJSON_AddNumberToObject(object, "id", (double)id);
    cJSON_AddStringToObject(object, "name", name);
    cJSON_AddStringToObject(object, "place", place);
    return object;
}

WP_ACT(wp_act_instrument_add)
{
    const char *name = wp_ask_text(ask, "name"), *typed = wp_ask_text(ask, "place");
    char place[WP_PLACE_ROOM];
    int64_t id = wp_id_next();
    if (!wp_typed_ok(name, 64, false))
        return wp_fail(error, WP_INVALID, "An instrument needs a name of 1 to 64 bytes.");
    enum wp_status status = wp_place_tidy(typed ? typed : "", place, error);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO instrument (id, name, place, created_us) "
                            "VALUES (?, ?, ?, ?)",
                            "itti", id, name, place, txn->now);
    if (status == WP_CONSTRAINT)
        return wp_fail(error, WP_CONFLICT, "There is an instrument of this name already.");
    if (!status)
        status = change(txn, ask, id, error);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    cJSON_AddItemToObject(*out, "instrument", instrument_json(id, name, place));
    return add_join(txn, ask, id, *out, error);
}

static enum wp_status known_instrument(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                                       struct wp_error *error)
{
    int64_t one = 0;
    enum wp_status status =
        wp_ask_param_int(ask, 0, id)
            ? wp_sql_int(txn->sql, &one, "SELECT 1 FROM instrument WHERE id = ?", "i", *id)
            : WP_NOT_FOUND;
    return status == WP_NOT_FOUND ? wp_fail(error, status, "There is no such instrument.") : status;
}

WP_ACT(wp_act_instrument_change)
{
    int64_t id = 0;
    enum wp_status status = known_instrument(txn, ask, &id, error);
    const char *typed = wp_ask_text(ask, "place");
    if (!status && typed) {
        char place[WP_PLACE_ROOM];
        status = wp_place_tidy(typed, place, error);
        if (!status)
            status = wp_sql_run(txn->sql, "UPDATE instrument SET place = ? WHERE id = ?", "ti",
                                place, id);
    }
    if (!status)
        status = change(txn, ask, id, error);
    if (!status && (*out = cJSON_CreateObject()))
        cJSON_AddNumberToObject(*out, "id", (double)id);
    return status;
}

WP_ACT(wp_act_join_code)
{
    int64_t id = 0;
    enum wp_status status = known_instrument(txn, ask, &id, error);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    return add_join(txn, ask, id, *out, error);
}

WP_ACT(wp_act_bench_code)
{
    int64_t id = 0;
    char code[WP_CODE_ROOM], url[256], page[400];
    enum wp_status status = known_instrument(txn, ask, &id, error);
    if (!status)
        status = setting(txn->sql, "public_url", url, sizeof url);
    if (!status)
        status = new_code(txn, id, "bench", code);
    if (status)
        return status;
    (void)snprintf(page, sizeof page, "%s/bench", url);
    *out = cJSON_CreateObject();
    cJSON_AddStringToObject(*out, "code", code);
    cJSON_AddStringToObject(*out, "url", page);
    return note(txn, ask, "bench-code", "instrument", id);
}

WP_ACT(wp_act_instrument_pause)
{
    (void)out;
    int64_t id = 0, minutes = 0;
    enum wp_status status = known_instrument(txn, ask, &id, error);
    if (!status && (!wp_ask_int(ask, "minutes", &minutes) || minutes < 0 || minutes > 14 * 24 * 60))
        return wp_fail(error, WP_INVALID, "\"minutes\" is 0 (go on) to 20160 (two weeks).");
    if (!status)
        status = wp_sql_run(txn->sql, "UPDATE instrument SET paused_until_us = ? WHERE id = ?",
                            "ii", minutes ? txn->now + minutes * WP_MINUTE : 0, id);
    return status ? status : note(txn, ask, minutes ? "pause" : "resume", "instrument", id);
}
