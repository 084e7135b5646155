#include <string.h>

#include "acts/bench_acts.h"
#include "acts/deliver.h"
#include "acts/site.h"
#include "archive/record.h"
#include "base/bytes.h"
#include "db/event.h"
#include "identify.h"
#include "instrument_fault.h"
#include "people/persons.h"
#include "people/turns.h"
#include "people/waiting.h"
#include "reconsider.h"
#include "spectrum/remarks.h"
#include "stamping_parts.h"
#include "tell.h"
#include "views/bench.h"

static enum wp_status tell(struct wp_txn *txn, int64_t instrument, const char *kind,
                           int64_t measurement)
{
    if (measurement)
        return wp_tell_measurement(txn, instrument, kind, measurement);
    return wp_event_addf(txn, "instrument", instrument, "{\"kind\":\"%s\"}", kind);
}

/* The state as it is now, which every bench act answers with. */
static enum wp_status answer_state(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                   struct wp_error *error)
{
    return wp_view_bench(txn->sql, ask, out, error);
}

/* Persons of a form or of JSON: "persons" a list or a single value, or "person". */
enum wp_status wp_ask_persons(const struct wp_ask *ask, int64_t persons[WP_TURN_PERSONS],
                              size_t *count, struct wp_error *error)
{
    *count = 0;
    const cJSON *list = cJSON_GetObjectItemCaseSensitive(ask->body, "persons"), *item = NULL;
    if (cJSON_IsArray(list)) {
        cJSON_ArrayForEach(item, list)
        {
            if (*count == WP_TURN_PERSONS || !cJSON_IsNumber(item) || item->valuedouble < 1)
                return wp_fail(error, WP_INVALID, "\"persons\" is a list of at most %d ids.",
                               WP_TURN_PERSONS);
            persons[(*count)++] = (int64_t)item->valuedouble;
        }
        return WP_OK;
    }
    int64_t one = 0, second = 0;
    if (wp_ask_int(ask, list ? "persons" : "person", &one) && one > 0)
        persons[(*count)++] = one;
    if (wp_ask_int(ask, "partner", &second) && second > 0 && second != one)
        persons[(*count)++] = second;
    return WP_OK;
}

enum wp_status wp_check_enrolled(struct wp_txn *txn, int64_t section, const int64_t *persons,
                                 size_t count, struct wp_error *error)
{
    for (size_t i = 0; i < count; i++) {
        int64_t one = 0;
        enum wp_status status =
            wp_sql_int(txn->sql, &one,
                       "SELECT 1 FROM enrolled WHERE person_id = ?1 AND to_us IS NULL AND "
                       "(?2 = 0 OR section_id = ?2)",
                       "ii", persons[i], section);
        if (status == WP_NOT_FOUND)
            return wp_fail(error, WP_INVALID, "This person is not on the section's roster.");
        if (status)
            return status;
    }
    return WP_OK;
}

static enum wp_status fill_words(const struct wp_ask *ask, struct wp_turn *turn,
                                 struct wp_error *error)
{
    enum wp_kind kind;
    enum wp_preparation preparation;
    enum wp_plates plates;
    const char *sample = wp_ask_text(ask, "sample"), *kind_text = wp_ask_text(ask, "kind");
    const char *prepared = wp_ask_text(ask, "preparation"), *plate = wp_ask_text(ask, "plates");
    const char *guest = wp_ask_text(ask, "guest");
    if ((sample && !wp_typed_ok(sample, sizeof turn->sample - 1, true)) ||
        (guest && !wp_typed_ok(guest, sizeof turn->guest - 1, true)))
        return wp_fail(error, WP_INVALID, "The sample's name is too long or not plain text.");
    if (kind_text && *kind_text && !wp_kind_parse(kind_text, &kind))
        return wp_fail(error, WP_INVALID, "\"%.40s\" is not a kind of measurement.", kind_text);
    if (prepared && *prepared && !wp_preparation_parse(prepared, &preparation))
        return wp_fail(error, WP_INVALID, "\"%.40s\" is not a preparation.", prepared);
    if (plate && *plate && !wp_plates_parse(plate, &plates))
        return wp_fail(error, WP_INVALID, "\"%.40s\" is not a plate material.", plate);
    wp_text_copy(turn->sample, sizeof turn->sample, sample);
    wp_text_copy(turn->guest, sizeof turn->guest, guest);
    wp_text_copy(turn->kind, sizeof turn->kind, kind_text);
    wp_text_copy(turn->preparation, sizeof turn->preparation, prepared);
    wp_text_copy(turn->plates, sizeof turn->plates, plate);
    return WP_OK;
}

/* What was not said follows from the experiment, then from the instrument. */
static enum wp_status fill_defaults(struct wp_txn *txn, struct wp_turn *turn)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows,
                     "SELECT coalesce(nullif(e.preparation, ''), i.preparation), "
                     "coalesce(nullif(e.plates, ''), i.plates) FROM instrument i "
                     "LEFT JOIN experiment e ON e.id = ? WHERE i.id = ?",
                     "ii", turn->experiment, turn->instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        if (!turn->preparation[0])
            wp_text_copy(turn->preparation, sizeof turn->preparation, wp_rows_text(&rows, 0));
        if (!turn->plates[0])
            wp_text_copy(turn->plates, sizeof turn->plates, wp_rows_text(&rows, 1));
    }
    return wp_rows_end(&rows);
}

/* A section has experiments of its course only. */
static enum wp_status check_experiment(struct wp_txn *txn, const struct wp_turn *turn,
                                       struct wp_error *error)
{
    int64_t one = 0;
    if (!turn->experiment)
        return WP_OK;
    enum wp_status status = wp_sql_int(txn->sql, &one,
                                       "SELECT 1 FROM experiment e JOIN section s "
                                       "ON s.course_id = e.course_id WHERE e.id = ? AND s.id = ?",
                                       "ii", turn->experiment, turn->section);
    return status == WP_NOT_FOUND
               ? wp_fail(error, WP_INVALID, "This experiment is not one of the section's course.")
               : status;
}

enum wp_status wp_turn_from_ask(struct wp_txn *txn, const struct wp_ask *ask, int64_t instrument,
                                struct wp_turn *turn, struct wp_error *error)
{
    memset(turn, 0, sizeof *turn);
    turn->instrument = instrument;
    (void)wp_ask_int(ask, "section", &turn->section);
    (void)wp_ask_int(ask, "experiment", &turn->experiment);
    enum wp_status status = fill_words(ask, turn, error);
    if (!status)
        status = wp_ask_persons(ask, turn->persons, &turn->person_count, error);
    if (!status)
        status = wp_turn_shown(txn, ask, turn, error);
    if (status)
        return status;
    if (!turn->person_count && !turn->guest[0])
        return wp_fail(error, WP_INVALID, "Say who you are: a name of the roster, or a guest.");
    if (!turn->section)
        status = wp_section_by_timetable(txn->sql, instrument, txn->now, &turn->section);
    if (!status)
        status = wp_check_enrolled(txn, turn->section, turn->persons, turn->person_count, error);
    if (!status)
        status = check_experiment(txn, turn, error);
    return status ? status : fill_defaults(txn, turn);
}

/* A page that could not reach the gateway says afterwards when it was; otherwise it is now. */
static int64_t said_at(const struct wp_txn *txn, const struct wp_ask *ask)
{
    int64_t at = 0;
    bool said = wp_ask_int(ask, "at_us", &at) && at < txn->now && at > txn->now - WP_DAY;
    return said ? at : txn->now;
}

WP_ACT(wp_act_sign_on)
{
    struct wp_turn turn;
    int64_t instrument = 0;
    if (!wp_ask_param_int(ask, 0, &instrument))
        return WP_NOT_FOUND;
    enum wp_status status = wp_turn_from_ask(txn, ask, instrument, &turn, error);
    if (status)
        return status;
    turn.opened_us = said_at(txn, ask);
    turn.source = turn.source ? turn.source : "bench";
    turn.author = ask->who->id;
    status = turn.opened_us < txn->now ? wp_turn_later(txn, &turn) : WP_OK;
    if (!status)
        status = wp_turn_open(txn, &turn);
    for (size_t i = 0; !status && i < turn.person_count; i++)
        status = wp_wait_end(txn, 0, turn.persons[i]);
    if (!status && turn.opened_us < txn->now)
        status = wp_reconsider(txn, instrument, turn.opened_us);
    if (!status)
        status = wp_ask_record(txn, ask, "sign-on", "turn", turn.id, NULL);
    if (!status)
        status = tell(txn, instrument, "turn", 0);
    return status ? status : answer_state(txn, ask, out, error);
}

/* The measurement named in the body, of this instrument. */
static enum wp_status named_here(struct wp_txn *txn, const struct wp_ask *ask, int64_t *instrument,
                                 int64_t *measurement, struct wp_error *error)
{
    int64_t one = 0;
    if (!wp_ask_param_int(ask, 0, instrument) || !wp_ask_int(ask, "measurement", measurement))
        return wp_fail(error, WP_INVALID, "\"measurement\" is missing.");
    enum wp_status status =
        wp_sql_int(txn->sql, &one, "SELECT 1 FROM measurement WHERE id = ? AND instrument_id = ?",
                   "ii", *measurement, *instrument);
    return status == WP_NOT_FOUND
               ? wp_fail(error, status, "This instrument has no such measurement.")
               : status;
}

WP_ACT(wp_act_keep)
{
    int64_t instrument = 0, measurement = 0;
    enum wp_status status = named_here(txn, ask, &instrument, &measurement, error);
    if (!status)
        status = wp_measurement_keep(txn, measurement, "kept");
    if (status == WP_CONFLICT)
        return wp_fail(error, status, "This one is to be run again already.");
    bool print = !cJSON_HasObjectItem(ask->body, "print") || wp_ask_flag(ask, "print");
    if (!status)
        status = wp_deliver_kept(txn, measurement, print, ask->who->actor, ask->who->id);
    if (!status)
        status = tell(txn, instrument, "kept", measurement);
    return status ? status : answer_state(txn, ask, out, error);
}

WP_ACT(wp_act_again)
{
    int64_t instrument = 0, measurement = 0;
    enum wp_status status = named_here(txn, ask, &instrument, &measurement, error);
    if (!status)
        status = wp_measurement_keep(txn, measurement, "again");
    if (status == WP_CONFLICT)
        return wp_fail(error, status, "This one was kept already.");
    if (!status)
        status = tell(txn, instrument, "kept", measurement);
    return status ? status : answer_state(txn, ask, out, error);
}

/* "Still Maya R.?" - "Yes": the open turn takes it. */
static enum wp_status same_turn(struct wp_txn *txn, int64_t instrument, struct wp_stamp *stamp,
                                int64_t *turn_id, struct wp_error *error)
{
    struct wp_turn turn;
    enum wp_status status = wp_turn_current(txn->sql, instrument, &turn);
    if (status == WP_NOT_FOUND)
        return wp_fail(error, WP_CONFLICT, "Nobody is signed on; say who you are.");
    if (!status)
        status = wp_turn_confirm(txn, turn.id);
    if (!status)
        wp_stamp_from_turn(&turn, "bench", stamp);
    *turn_id = turn.id;
    return status;
}

/* "No, I am ...": a turn of their own, from when it was measured. */
static enum wp_status other_turn(struct wp_txn *txn, const struct wp_ask *ask, int64_t instrument,
                                 int64_t measurement, struct wp_stamp *stamp, int64_t *turn_id,
                                 struct wp_error *error)
{
    struct wp_turn turn;
    enum wp_status status = wp_turn_from_ask(txn, ask, instrument, &turn, error);
    if (!status)
        status = wp_sql_int(txn->sql, &turn.opened_us,
                            "SELECT min(measured_us, ?) FROM measurement WHERE id = ?", "ii",
                            txn->now, measurement);
    turn.source = turn.source ? turn.source : "bench";
    turn.author = ask->who->id;
    if (!status)
        status = wp_turn_open(txn, &turn);
    if (!status)
        wp_stamp_from_turn(&turn, "bench", stamp);
    *turn_id = turn.id;
    return status;
}

WP_ACT(wp_act_answer)
{
    int64_t instrument = 0, measurement = 0, turn = 0, unclaimed = 0;
    enum wp_status status = named_here(txn, ask, &instrument, &measurement, error);
    if (!status)
        status = wp_sql_int(txn->sql, &unclaimed, "SELECT unclaimed FROM measurement WHERE id = ?",
                            "i", measurement);
    if (!status && !unclaimed)
        return wp_fail(error, WP_CONFLICT, "It has a name already. Ask staff.");
    struct wp_stamp stamp = {
        .measurement = measurement, .author = ask->who->actor, .author_id = ask->who->id};
    if (!status && wp_ask_flag(ask, "nobody")) {
        status = wp_measurement_set_turn(txn, measurement, 0);
        if (!status)
            status = tell(txn, instrument, "stamped", measurement);
        return status ? status : answer_state(txn, ask, out, error);
    }
    if (!status)
        status = wp_ask_flag(ask, "same")
                     ? same_turn(txn, instrument, &stamp, &turn, error)
                     : other_turn(txn, ask, instrument, measurement, &stamp, &turn, error);
    wp_text_copy(stamp.reason, sizeof stamp.reason, "Answered at the bench.");
    if (!status)
        status = wp_stamp_add(txn, &stamp);
    if (!status)
        status = wp_measurement_set_turn(txn, measurement, turn);
    if (!status)
        status = wp_measurement_counts(txn, measurement);
    if (!status)
        status = wp_deliver_at_once(txn, measurement);
    if (!status)
        status = wp_watch_instrument(txn, instrument, measurement);
    if (!status)
        status = tell(txn, instrument, "stamped", measurement);
    return status ? status : answer_state(txn, ask, out, error);
}

WP_ACT(wp_act_done)
{
    int64_t instrument = 0, turn = 0;
    if (!wp_ask_param_int(ask, 0, &instrument))
        return WP_NOT_FOUND;
    int64_t at = said_at(txn, ask);
    enum wp_status status = wp_turn_close(txn, instrument, at, &turn);
    if (status == WP_NOT_FOUND)
        return answer_state(txn, ask, out, error); /* a second tap */
    if (!status)
        status = wp_ask_record(txn, ask, "done", "turn", turn, NULL);
    if (!status && at < txn->now)
        status = wp_reconsider(txn, instrument, at);
    if (!status)
        status = tell(txn, instrument, "turn", 0);
    return status ? status : answer_state(txn, ask, out, error);
}

WP_ACT(wp_act_plates_out)
{
    int64_t instrument = 0;
    if (!wp_ask_param_int(ask, 0, &instrument))
        return WP_NOT_FOUND;
    struct wp_notice notice = {.kind = "plates",
                               .instrument = instrument,
                               .text = "A plate was taken out of use: cloudy or broken. "
                                       "Broken plates go to the sharps bin, not by hand."};
    enum wp_status status = wp_notice_add(txn, &notice);
    if (!status)
        status = wp_ask_record(txn, ask, "plates-out", "instrument", instrument, NULL);
    if (!status)
        status = wp_event_add(txn, "staff", 0, "{\"kind\":\"notice\"}");
    return status ? status : answer_state(txn, ask, out, error);
}
