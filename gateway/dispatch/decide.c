/* Deciding: claims for printers, questions about other rooms, and words for those that wait. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "dispatch_parts.h"

enum { DECISIONS_MOST = 64, ROTATE_S = 10 };

struct decision {
    int64_t delivery;
    enum wp_delivery_state from;
    enum wp_delivery_state to;
    int64_t printer;
    char text[WP_CHOICE_TEXT];
};

struct deciding {
    struct wp_dispatch *dispatch;
    int64_t owner;
    int64_t lease_us;
    bool renew;   /* leases of ours that run out, or of others that have run out */
    bool drained; /* printers that have finished draining become paused */
    bool crowded; /* more deliveries wait than a snapshot holds: let them take turns */
    struct decision decisions[DECISIONS_MOST];
    size_t count;
    size_t claims[WP_PRINTERS_MOST]; /* by node */
};

/* ---- inside the transaction ---- */

/* Nothing changes if the delivery is no longer in the state that was decided on. */
static enum wp_status prepare(struct wp_txn *txn, const struct deciding *deciding,
                              const struct decision *one)
{
    const char *expected = wp_delivery_state_name(one->from);
    if (one->to == WP_DELIVERY_SENDING)
        return wp_sql_run(txn->sql,
                          "UPDATE delivery SET printer_id = ?, lease_owner = ?,"
                          " lease_until_us = ?, job = 0, in_doubt = 0 WHERE id = ? AND state = ?",
                          "iiiit", one->printer, deciding->owner, txn->now + deciding->lease_us,
                          one->delivery, expected);
    return wp_sql_run(txn->sql,
                      "UPDATE delivery SET printer_id = ?, due_us = due_us + ?"
                      " WHERE id = ? AND state = ?",
                      "iiit", one->printer, deciding->crowded ? ROTATE_S * WP_SECOND : INT64_C(0),
                      one->delivery, expected);
}

static enum wp_status carry_out(struct wp_txn *txn, const struct deciding *deciding,
                                const struct decision *one)
{
    enum wp_status status = prepare(txn, deciding, one);
    if (status || wp_sql_changes(txn->sql) == 0)
        return status;
    struct wp_move move = {
        .delivery = one->delivery, .to = one->to, .reason = one->text, .actor = WP_ACTOR_SYSTEM};
    return wp_delivery_move(txn, &move);
}

/* Leases that ran out were held by a gateway that is gone; ours are renewed before they do. */
static enum wp_status renew_leases(struct wp_txn *txn, const struct deciding *deciding)
{
    return wp_sql_run(txn->sql,
                      "UPDATE delivery SET lease_owner = ?, lease_until_us = ?"
                      " WHERE state IN ('sending', 'printing', 'uncertain')"
                      " AND (lease_owner = ? OR lease_until_us < ?)",
                      "iiii", deciding->owner, txn->now + deciding->lease_us, deciding->owner,
                      txn->now);
}

static enum wp_status end_draining(struct wp_txn *txn)
{
    return wp_sql_run(txn->sql,
                      "UPDATE printer SET mode = 'paused', changed_us = ? WHERE mode = 'draining'"
                      " AND NOT EXISTS (SELECT 1 FROM delivery WHERE printer_id = printer.id"
                      " AND state IN ('sending', 'printing', 'uncertain'))",
                      "i", txn->now);
}

static enum wp_status write_decisions(struct wp_txn *txn, void *job)
{
    const struct deciding *deciding = job;
    enum wp_status status = WP_OK;
    if (deciding->renew)
        status = renew_leases(txn, deciding);
    if (!status && deciding->drained)
        status = end_draining(txn);
    for (size_t i = 0; i < deciding->count && !status; i++)
        status = carry_out(txn, deciding, &deciding->decisions[i]);
    return status;
}

static void decided(void *job, enum wp_status status)
{
    struct deciding *deciding = job;
    struct wp_dispatch *dispatch = deciding->dispatch;
    dispatch->pending--;
    dispatch->deciding = false;
    dispatch->decide_after = dispatch->serial;
    dispatch->kicked = true;
    if (status)
        wp_log(WP_LOG_WARN, "dispatch", "deciding failed: %s", wp_status_name(status));
    free(deciding);
}

/* ---- on the loop ---- */

static void add(struct deciding *deciding, const struct wp_delivery_row *row,
                enum wp_delivery_state to, int64_t printer, const char *text)
{
    struct decision *one = &deciding->decisions[deciding->count++];
    one->delivery = row->id;
    one->from = row->state;
    one->to = to;
    one->printer = printer;
    snprintf(one->text, sizeof one->text, "%s", text);
}

/* Sheets of this printer that the next visit would have to send. */
static size_t unsent(const struct wp_snapshot *snapshot, int64_t printer)
{
    size_t count = 0;
    for (size_t i = 0; i < snapshot->count; i++)
        count +=
            snapshot->rows[i].printer == printer && snapshot->rows[i].state == WP_DELIVERY_SENDING;
    return count;
}

static void decide_send(struct deciding *deciding, const struct wp_delivery_row *row,
                        const struct wp_choice *choice)
{
    struct wp_dispatch *dispatch = deciding->dispatch;
    struct wp_node *node = wp_node_find(dispatch, choice->printer);
    size_t *claims = &deciding->claims[node - dispatch->nodes];
    size_t room = WP_VISIT_ITEMS / 2;
    if (*claims + unsent(dispatch->snapshot, node->id) >= room)
        return;
    ++*claims;
    add(deciding, row, WP_DELIVERY_SENDING, node->id, choice->text);
}

static void decide_row(struct deciding *deciding, const struct wp_delivery_row *row)
{
    struct wp_choice choice;
    struct wp_dispatch *dispatch = deciding->dispatch;
    wp_dispatch_choose(dispatch, row, 0, &choice);
    struct wp_node *node = wp_node_find(dispatch, choice.printer);
    bool same = strcmp(row->reason, choice.text) == 0;
    switch (choice.kind) {
    case WP_CHOICE_SEND:
        decide_send(deciding, row, &choice);
        break;
    case WP_CHOICE_LOOK:
        if (node != NULL && !node->visiting)
            node->watch_at = 0;
        break;
    case WP_CHOICE_ASK:
        if (!same || row->state != WP_DELIVERY_ASKING || row->printer != choice.printer)
            add(deciding, row, WP_DELIVERY_ASKING, choice.printer, choice.text);
        break;
    case WP_CHOICE_WAIT:
        if (!same || row->state != WP_DELIVERY_WAITING)
            add(deciding, row, WP_DELIVERY_WAITING, row->printer, choice.text);
        break;
    }
}

static bool needs_renewal(const struct wp_dispatch *dispatch, const struct wp_delivery_row *row)
{
    int64_t lease_us = (int64_t)dispatch->options.lease_ms * 1000;
    if (row->state != WP_DELIVERY_SENDING && row->state != WP_DELIVERY_PRINTING &&
        row->state != WP_DELIVERY_UNCERTAIN)
        return false;
    int64_t left = row->lease_until_us - dispatch->snapshot->now;
    return row->lease_owner == dispatch->options.owner ? left < lease_us / 2 : left < 0;
}

static void decide_mail(struct deciding *deciding, const struct wp_delivery_row *row)
{
    static const char again[] = "The gateway was stopped while sending; it sends again.";
    static const char no_mail[] = "Mail is not set up; the sheet is in the inbox.";
    const struct wp_dispatch *dispatch = deciding->dispatch;
    bool waits = row->state == WP_DELIVERY_WAITING;
    if (row->state == WP_DELIVERY_SENDING && row->lease_owner == dispatch->options.owner &&
        !wp_dispatch_holds(dispatch, row))
        add(deciding, row, WP_DELIVERY_WAITING, 0, again);
    else if (waits && !dispatch->has_post && strcmp(row->reason, no_mail) != 0)
        add(deciding, row, WP_DELIVERY_WAITING, 0, no_mail);
}

/* True if a printer drains and none of our sheets is there any more. */
static bool any_drained(const struct wp_dispatch *dispatch)
{
    const struct wp_snapshot *snapshot = dispatch->snapshot;
    for (size_t i = 0; i < snapshot->printer_count; i++) {
        bool busy = false;
        for (size_t k = 0; k < snapshot->count && !busy; k++)
            busy = snapshot->rows[k].printer == snapshot->printers[i].id &&
                   snapshot->rows[k].state != WP_DELIVERY_WAITING &&
                   snapshot->rows[k].state != WP_DELIVERY_ASKING;
        if (snapshot->printers[i].mode == WP_PRINTER_DRAINING && !busy)
            return true;
    }
    return false;
}

static void fill(struct deciding *deciding)
{
    struct wp_dispatch *dispatch = deciding->dispatch;
    const struct wp_snapshot *snapshot = dispatch->snapshot;
    deciding->crowded = snapshot->count == WP_SNAPSHOT_ROWS;
    deciding->drained = any_drained(dispatch);
    for (size_t i = 0; i < snapshot->count && deciding->count < DECISIONS_MOST; i++) {
        const struct wp_delivery_row *row = &snapshot->rows[i];
        deciding->renew = deciding->renew || needs_renewal(dispatch, row);
        if (row->mail)
            decide_mail(deciding, row);
        else if (row->state == WP_DELIVERY_WAITING || row->state == WP_DELIVERY_ASKING)
            decide_row(deciding, row);
    }
}

void wp_dispatch_decide(struct wp_dispatch *dispatch)
{
    if (dispatch->deciding || dispatch->stopping ||
        (int)(dispatch->snapshot->serial - dispatch->decide_after) <= 0)
        return;
    struct deciding *deciding = calloc(1, sizeof *deciding);
    if (deciding == NULL)
        return;
    deciding->dispatch = dispatch;
    deciding->owner = dispatch->options.owner;
    deciding->lease_us = (int64_t)dispatch->options.lease_ms * 1000;
    fill(deciding);
    bool idle = deciding->count == 0 && !deciding->renew && !deciding->drained;
    if (idle || wp_db_write(dispatch->db, write_decisions, decided, deciding) != WP_OK) {
        free(deciding);
        return;
    }
    dispatch->deciding = true;
    dispatch->pending++;
}
