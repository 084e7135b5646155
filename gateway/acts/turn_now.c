/* What happens in an open turn besides spectra: a partner joins, the bench says "still me", others
 * wait. */
#include <inttypes.h>
#include <string.h>

#include "acts/bench_acts.h"
#include "db/event.h"
#include "identify.h"
#include "people/waiting.h"
#include "stamping_parts.h"
#include "views/bench.h"

static enum wp_status tell(struct wp_txn *txn, int64_t instrument, const char *kind)
{
    return wp_event_addf(txn, "instrument", instrument, "{\"kind\":\"%s\"}", kind);
}

static enum wp_status open_turn(struct wp_txn *txn, const struct wp_ask *ask, struct wp_turn *turn,
                                struct wp_error *error)
{
    int64_t instrument = 0;
    if (!wp_ask_param_int(ask, 0, &instrument))
        return WP_NOT_FOUND;
    enum wp_status status = wp_turn_current(txn->sql, instrument, turn);
    return status == WP_NOT_FOUND ? wp_fail(error, WP_CONFLICT, "Nobody is signed on.") : status;
}

/* The persons of a request, of the section where one is said. */
static enum wp_status asked_persons(struct wp_txn *txn, const struct wp_ask *ask,
                                    int64_t instrument, int64_t section, struct wp_turn *asked,
                                    struct wp_error *error)
{
    memset(asked, 0, sizeof *asked);
    asked->instrument = instrument;
    asked->section = section;
    enum wp_status status = wp_ask_persons(ask, asked->persons, &asked->person_count, error);
    if (!status)
        status = wp_turn_shown(txn, ask, asked, error);
    if (!status && !asked->person_count)
        return wp_fail(error, WP_INVALID, "Say who: a name of the roster, or a card.");
    return status ? status
                  : wp_check_enrolled(txn, section, asked->persons, asked->person_count, error);
}

WP_ACT(wp_act_join)
{
    struct wp_turn turn, asked;
    enum wp_status status = open_turn(txn, ask, &turn, error);
    if (!status)
        status = asked_persons(txn, ask, turn.instrument, turn.section, &asked, error);
    for (size_t i = 0; !status && i < asked.person_count; i++) {
        status = wp_turn_join(txn, &turn, asked.persons[i]);
        if (status == WP_TOO_LARGE)
            return wp_fail(error, WP_INVALID, "A turn has at most %d persons.", WP_TURN_PERSONS);
        if (!status)
            status = wp_wait_end(txn, 0, asked.persons[i]);
    }
    if (!status)
        status = wp_ask_record(txn, ask, "join", "turn", turn.id, NULL);
    if (!status)
        status = tell(txn, turn.instrument, "turn");
    return status ? status : wp_view_bench(txn->sql, ask, out, error);
}

WP_ACT(wp_act_still)
{
    struct wp_turn turn;
    enum wp_status status = open_turn(txn, ask, &turn, error);
    if (!status)
        status = wp_turn_confirm(txn, turn.id);
    if (!status)
        status = tell(txn, turn.instrument, "turn");
    return status ? status : wp_view_bench(txn->sql, ask, out, error);
}

WP_ACT(wp_act_wait)
{
    struct wp_turn asked;
    int64_t instrument = 0, section = 0;
    if (!wp_ask_param_int(ask, 0, &instrument))
        return WP_NOT_FOUND;
    enum wp_status status = asked_persons(txn, ask, instrument, section, &asked, error);
    for (size_t i = 0; !status && i < asked.person_count; i++)
        status = wp_wait_note(txn, instrument, asked.persons[i], true);
    if (!status)
        status = tell(txn, instrument, "waiting");
    return status ? status : wp_view_bench(txn->sql, ask, out, error);
}

WP_ACT(wp_act_leave_list)
{
    int64_t instrument = 0, person = 0;
    if (!wp_ask_param_int(ask, 0, &instrument))
        return WP_NOT_FOUND;
    if (!wp_ask_int(ask, "person", &person))
        return wp_fail(error, WP_INVALID, "\"person\" is missing: who leaves the list?");
    enum wp_status status = wp_wait_end(txn, instrument, person);
    if (!status)
        status = tell(txn, instrument, "waiting");
    return status ? status : wp_view_bench(txn->sql, ask, out, error);
}
