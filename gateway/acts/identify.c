#include "identify.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/bench_acts.h"
#include "acts/site.h"
#include "db/event.h"
#include "people/persons.h"
#include "people/sessions.h"
#include "people/waiting.h"
#include "views/bench.h"

/* Wrong PINs and numbers at one bench; cards are too long to be guessed. Common practice. */
#define WRONG_MOST 20
#define WRONG_SPAN (10 * WP_MINUTE)

static bool said(const struct wp_turn *turn, int64_t person)
{
    for (size_t i = 0; i < turn->person_count; i++)
        if (turn->persons[i] == person)
            return true;
    return false;
}

static enum wp_status add_person(struct wp_turn *turn, int64_t person, const char *by,
                                 struct wp_error *error)
{
    if (!turn->source)
        turn->source = by;
    if (said(turn, person))
        return WP_OK;
    if (turn->person_count == WP_TURN_PERSONS)
        return wp_fail(error, WP_INVALID, "A turn has at most %d persons.", WP_TURN_PERSONS);
    turn->persons[turn->person_count++] = person;
    return WP_OK;
}

static enum wp_status add_pass(struct wp_txn *txn, struct wp_turn *turn, const char *text,
                               struct wp_error *error)
{
    int64_t person = 0;
    const char *by = NULL;
    if (!wp_pass_read(wp_site.bench_key, turn->instrument, txn->now, text, &person, &by))
        return wp_fail(error, WP_INVALID, "That was too long ago: show the card again.");
    return add_person(turn, person, by, error);
}

static enum wp_status add_card(struct wp_txn *txn, struct wp_turn *turn, const char *text,
                               struct wp_error *error)
{
    char card[WP_CARD_ROOM];
    int64_t person = 0;
    enum wp_status status =
        wp_card_clean(text, card) ? wp_card_person(txn->sql, card, &person) : WP_NOT_FOUND;
    if (status == WP_NOT_FOUND)
        return wp_fail(error, WP_INVALID, "This card is not known. Tap your name.");
    return status ? status : add_person(turn, person, "card", error);
}

typedef enum wp_status (*add_fn)(struct wp_txn *txn, struct wp_turn *turn, const char *text,
                                 struct wp_error *error);

static enum wp_status add_all(struct wp_txn *txn, const struct wp_ask *ask, const char *member,
                              add_fn add, struct wp_turn *turn, struct wp_error *error)
{
    const cJSON *value = cJSON_GetObjectItemCaseSensitive(ask->body, member), *item = NULL;
    enum wp_status status = WP_OK;
    if (cJSON_IsString(value) && value->valuestring[0])
        return add(txn, turn, value->valuestring, error);
    if (!cJSON_IsArray(value))
        return WP_OK;
    if (cJSON_GetArraySize(value) > WP_TURN_PERSONS)
        return wp_fail(error, WP_INVALID, "A turn has at most %d persons.", WP_TURN_PERSONS);
    cJSON_ArrayForEach(item, value)
    {
        if (!status && cJSON_IsString(item))
            status = add(txn, turn, item->valuestring, error);
    }
    return status;
}

enum wp_status wp_turn_shown(struct wp_txn *txn, const struct wp_ask *ask, struct wp_turn *turn,
                             struct wp_error *error)
{
    enum wp_status status = add_all(txn, ask, "pass", add_pass, turn, error);
    if (!status)
        status = add_all(txn, ask, "card", add_card, turn, error);
    if (status || !turn->source || turn->section)
        return status;
    status =
        wp_person_section(txn->sql, turn->instrument, turn->persons[0], txn->now, &turn->section);
    return status == WP_NOT_FOUND ? WP_OK : status;
}

/* ---- who is it? ---- */

/* A PIN of the sections here, else a number of any section. */
static enum wp_status typed_person(struct wp_txn *txn, const struct wp_ask *ask, int64_t instrument,
                                   const char *typed, int64_t *person, const char **by,
                                   struct wp_error *error)
{
    char name[64];
    enum wp_status status = WP_NOT_FOUND;
    (void)snprintf(name, sizeof name, "shown:%" PRId64 ":%" PRId64, instrument, ask->who->id);
    int64_t wrong = 0;
    (void)wp_sql_int(txn->sql, &wrong, "SELECT count FROM throttle WHERE name = ? AND from_us > ?",
                     "ti", name, txn->now - WRONG_SPAN);
    if (wrong >= WRONG_MOST)
        return wp_fail(error, WP_RETRY,
                       "Too many wrong ones here; tap your name, or show your card.");
    *by = "pin";
    if (wp_pin_ok(typed))
        status = wp_pin_person(txn->sql, wp_site.bench_key, instrument, typed, txn->now, person);
    if (status == WP_NOT_FOUND) {
        *by = "number";
        status = wp_number_person(txn->sql, typed, person);
    }
    if (status != WP_NOT_FOUND)
        return status;
    status = wp_throttle(txn, name, WRONG_MOST, WRONG_SPAN);
    txn->keep = true; /* a wrong one counts; nothing else has been written */
    return status ? status
                  : wp_fail(error, WP_NOT_FOUND,
                            "Nobody here has this PIN or number. Tap your "
                            "name.");
}

static enum wp_status shown_person(struct wp_txn *txn, const struct wp_ask *ask, int64_t instrument,
                                   int64_t *person, const char **by, struct wp_error *error)
{
    char card[WP_CARD_ROOM];
    const char *typed = wp_ask_text(ask, "card");
    if (!wp_typed_ok(typed, 64, false))
        return wp_fail(error, WP_INVALID, "\"card\" is what the card, the PIN or the number says.");
    *by = "card";
    if (!wp_card_clean(typed, card))
        return strlen(typed) > 16
                   ? wp_fail(error, WP_INVALID, "The card was not read whole. Show it again.")
                   : typed_person(txn, ask, instrument, typed, person, by, error);
    enum wp_status status = wp_card_person(txn->sql, card, person);
    return status == WP_NOT_FOUND
               ? wp_fail(error, status, "This card is not in use any more. Tap your name.")
               : status;
}

/* Somebody else's turn is open: whoever shows a card waits. */
static enum wp_status note_waiting(struct wp_txn *txn, int64_t instrument, int64_t person)
{
    struct wp_turn turn;
    enum wp_status status = wp_turn_current(txn->sql, instrument, &turn);
    if (status)
        return status == WP_NOT_FOUND ? WP_OK : status;
    return said(&turn, person) ? WP_OK : wp_wait_note(txn, instrument, person, false);
}

WP_ACT(wp_act_identify)
{
    int64_t instrument = 0, person = 0;
    const char *by = NULL;
    char pass[WP_PASS_ROOM];
    if (!wp_ask_param_int(ask, 0, &instrument))
        return WP_NOT_FOUND;
    enum wp_status status = shown_person(txn, ask, instrument, &person, &by, error);
    if (!status)
        status = note_waiting(txn, instrument, person);
    if (!status)
        status = wp_view_bench_person(txn->sql, instrument, person, out, error);
    if (status)
        return status;
    wp_pass_make(wp_site.bench_key, instrument, person, by, txn->now, pass);
    cJSON_AddStringToObject(*out, "by", by);
    cJSON_AddStringToObject(*out, "pass", pass);
    return WP_OK;
}
