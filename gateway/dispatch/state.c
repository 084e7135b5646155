/* The one table of transitions, and the one setter.
 *
 *                  +-----------------------------------------------------------+
 *                  | retry                                                     |
 *                  v                                                           |
 *   new ------> waiting ---------> sending ---------> printing ---> done       |
 *    |          |  ^  ^ ^             |  |               | |                   |
 *    |          |  |  | | nothing sent|  | cannot say    | | cannot say        |
 *    |  another |  |  | +-------------+  v               | |                   |
 *    |   room?  |  |  +------- taken back <--------------+ |                   |
 *    |          v  | print                uncertain <------+                   |
 *    |        asking                      |  |  found, or a person says        |
 *    |          | inbox only              |  +-> printing, done, waiting       |
 *    v          v                         v                                    |
 *   inbox <-----+        cancelled <------+   failed --------------------------+
 *
 * Mail goes waiting -> sending -> done, waiting (try again later) or failed; done -> failed when it
 * comes back.
 */
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "delivery.h"

enum { REASON_ROOM = 241 };

#define TO(state) (1U << WP_DELIVERY_##state)

static const struct {
    const char *name;
    unsigned to;
} table[WP_DELIVERY_STATES] = {
    [WP_DELIVERY_NEW] = {"new", TO(WAITING) | TO(INBOX)},
    [WP_DELIVERY_WAITING] = {"waiting", TO(WAITING) | TO(SENDING) | TO(ASKING) | TO(CANCELLED) |
                                            TO(INBOX) | TO(FAILED)},
    [WP_DELIVERY_SENDING] = {"sending", TO(PRINTING) | TO(DONE) | TO(WAITING) | TO(UNCERTAIN) |
                                            TO(FAILED) | TO(CANCELLED)},
    [WP_DELIVERY_PRINTING] = {"printing", TO(PRINTING) | TO(DONE) | TO(WAITING) | TO(UNCERTAIN) |
                                              TO(FAILED) | TO(CANCELLED)},
    [WP_DELIVERY_ASKING] = {"asking",
                            TO(ASKING) | TO(WAITING) | TO(SENDING) | TO(INBOX) | TO(CANCELLED)},
    [WP_DELIVERY_UNCERTAIN] = {"uncertain", TO(UNCERTAIN) | TO(PRINTING) | TO(DONE) | TO(WAITING) |
                                                TO(FAILED) | TO(CANCELLED)},
    [WP_DELIVERY_DONE] = {"done", TO(DONE) | TO(FAILED)}, /* mail that is late, or came back */
    [WP_DELIVERY_FAILED] = {"failed", TO(WAITING)},
    [WP_DELIVERY_CANCELLED] = {"cancelled", TO(WAITING)},
    [WP_DELIVERY_INBOX] = {"inbox", TO(WAITING)},
};

static wp_delivery_hook change_hook;

void wp_delivery_set_hook(wp_delivery_hook hook)
{
    change_hook = hook;
}

const char *wp_delivery_state_name(enum wp_delivery_state state)
{
    return table[state].name;
}

bool wp_delivery_state_read(const char *text, enum wp_delivery_state *state)
{
    for (int i = WP_DELIVERY_WAITING; text != NULL && i < WP_DELIVERY_STATES; i++)
        if (strcmp(text, table[i].name) == 0) {
            *state = (enum wp_delivery_state)i;
            return true;
        }
    return false;
}

bool wp_delivery_may(enum wp_delivery_state from, enum wp_delivery_state to)
{
    return (table[from].to & 1U << to) != 0;
}

struct before {
    struct wp_delivery_change change;
    enum wp_delivery_state state;
    char reason[REASON_ROOM];
};

static enum wp_status read_before(struct wp_txn *txn, int64_t id, struct before *before)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows,
                     "SELECT state, reason, measurement_id, person_id, instrument_id, printer_id"
                     " FROM delivery WHERE id = ?",
                     "i", id);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        if (!wp_delivery_state_read(wp_rows_text(&rows, 0), &before->state))
            found = false;
        snprintf(before->reason, sizeof before->reason, "%s", wp_rows_text(&rows, 1));
        before->change = (struct wp_delivery_change){
            .id = id,
            .measurement = wp_rows_int(&rows, 2),
            .person = wp_rows_int(&rows, 3),
            .instrument = wp_rows_int(&rows, 4),
            .printer = wp_rows_int(&rows, 5),
        };
    }
    status = wp_rows_end(&rows);
    if (status)
        return status;
    return found ? WP_OK : WP_NOT_FOUND;
}

static enum wp_status append_event(struct wp_txn *txn, const struct wp_delivery_change *change,
                                   enum wp_actor actor, int64_t actor_id)
{
    enum wp_status status =
        wp_sql_run(txn->sql,
                   "INSERT INTO delivery_event"
                   " (delivery_id, number, at_us, state, printer_id, reason, actor, actor_id)"
                   " SELECT ?, COALESCE(MAX(number), 0) + 1, ?, ?, ?, ?, ?, ?"
                   " FROM delivery_event WHERE delivery_id = ?",
                   "iititiii", change->id, txn->now, change->to, change->printer, change->reason,
                   (int64_t)actor, actor_id, change->id);
    if (!status && change_hook != NULL)
        status = change_hook(txn, change);
    return status;
}

/* What belongs to one attempt ends with it. */
static enum wp_status write_state(struct wp_txn *txn, int64_t id, enum wp_delivery_state to,
                                  const char *reason)
{
    bool under_way =
        to == WP_DELIVERY_SENDING || to == WP_DELIVERY_PRINTING || to == WP_DELIVERY_UNCERTAIN;
    const char *name = wp_delivery_state_name(to);
    if (under_way)
        return wp_sql_run(txn->sql,
                          "UPDATE delivery SET state = ?, reason = ?, changed_us = ? WHERE id = ?",
                          "ttii", name, reason, txn->now, id);
    return wp_sql_run(txn->sql,
                      "UPDATE delivery SET state = ?, reason = ?, changed_us = ?, in_doubt = 0,"
                      " withdraw = 0, job = CASE WHEN ? = 'done' THEN job ELSE 0 END,"
                      " lease_owner = 0, lease_until_us = 0 WHERE id = ?",
                      "ttiti", name, reason, txn->now, name, id);
}

enum wp_status wp_delivery_move(struct wp_txn *txn, const struct wp_move *move)
{
    struct before before;
    enum wp_status status = read_before(txn, move->delivery, &before);
    if (status)
        return status;
    char reason[REASON_ROOM];
    wp_text_clean(move->reason, strlen(move->reason), reason, sizeof reason);
    if (before.state == move->to && strcmp(before.reason, reason) == 0)
        return WP_OK;
    if (!wp_delivery_may(before.state, move->to))
        return WP_CONFLICT;
    status = write_state(txn, move->delivery, move->to, reason);
    if (status)
        return status;
    before.change.from = wp_delivery_state_name(before.state);
    before.change.to = wp_delivery_state_name(move->to);
    before.change.reason = reason;
    return append_event(txn, &before.change, move->actor, move->actor_id);
}

enum wp_status wp_delivery_born(struct wp_txn *txn, int64_t delivery, enum wp_actor actor,
                                int64_t actor_id)
{
    struct before before;
    enum wp_status status = read_before(txn, delivery, &before);
    if (status)
        return status;
    before.change.from = "";
    before.change.to = wp_delivery_state_name(before.state);
    before.change.reason = before.reason;
    return append_event(txn, &before.change, actor, actor_id);
}
