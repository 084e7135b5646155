/* What people do with deliveries. */
#include <stdio.h>
#include <string.h>

#include "acts.h"
#include "returned.h"

static enum wp_status begin(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                            enum wp_delivery_state *state, struct wp_error *error)
{
    enum wp_status status = wp_ask_id(ask, id, error);
    return status ? status : wp_delivery_allowed(txn->sql, ask, *id, state, error);
}

/* Moves, records, and answers the row. */
static enum wp_status finish(struct wp_txn *txn, const struct wp_ask *ask, int64_t id,
                             enum wp_delivery_state to, const char *reason, cJSON **out,
                             struct wp_error *error)
{
    struct wp_move move = {.delivery = id,
                           .to = to,
                           .reason = reason,
                           .actor = ask->who->actor,
                           .actor_id = ask->who->id};
    enum wp_status status = wp_delivery_move(txn, &move);
    if (status == WP_CONFLICT)
        return wp_fail(error, status, "That is not possible any more; look again.");
    if (!status)
        status = wp_ask_record(txn, ask, "delivery", "delivery", id, wp_delivery_state_name(to));
    return status ? status : wp_delivery_json(txn->sql, id, false, out, error);
}

static enum wp_status not_now(enum wp_delivery_state state, struct wp_error *error)
{
    return wp_fail(error, WP_CONFLICT, "The delivery is %s: that is not possible now.",
                   wp_delivery_state_name(state));
}

/* Somebody wants it tried again, so what is known of the address may be past. */
static enum wp_status forget_returned(struct wp_txn *txn, int64_t id)
{
    int64_t person;
    enum wp_status status =
        wp_sql_int(txn->sql, &person,
                   "SELECT person_id FROM delivery WHERE id = ? AND kind = 'mail'", "i", id);
    if (status)
        return status == WP_NOT_FOUND ? WP_OK : status;
    return wp_returned_forget(txn, person);
}

static enum wp_status due_now(struct wp_txn *txn, int64_t id)
{
    return wp_sql_run(txn->sql, "UPDATE delivery SET due_us = ?, attempts = 0 WHERE id = ?", "ii",
                      txn->now, id);
}

enum wp_status wp_delivery_act_retry(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error)
{
    int64_t id;
    enum wp_delivery_state state;
    enum wp_status status = begin(txn, ask, &id, &state, error);
    if (status)
        return status;
    if (state != WP_DELIVERY_FAILED && state != WP_DELIVERY_CANCELLED && state != WP_DELIVERY_INBOX)
        return not_now(state, error);
    /* What the day's limit has put there, or a person's own "no mail", only staff send all the
     * same. */
    if (state == WP_DELIVERY_INBOX && !wp_is_staff(ask->who))
        return wp_fail(error, WP_DENIED, "Only staff can send what stayed in the inbox.");
    status = due_now(txn, id);
    if (!status)
        status = forget_returned(txn, id);
    return status ? status
                  : finish(txn, ask, id, WP_DELIVERY_WAITING, "Sent again by hand.", out, error);
}

static enum wp_status name_of_printer(struct wp_txn *txn, int64_t printer, char name[64],
                                      struct wp_error *error)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows,
                     "SELECT name FROM printer WHERE id = ? AND retired_us IS NULL", "i", printer);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found)
        snprintf(name, 64, "%s", wp_rows_text(&rows, 0));
    status = wp_rows_end(&rows);
    if (status)
        return status;
    return found ? WP_OK : wp_fail(error, WP_NOT_FOUND, "There is no such printer.");
}

static enum wp_status set_withdraw(struct wp_txn *txn, int64_t id, int64_t how)
{
    return wp_sql_run(txn->sql, "UPDATE delivery SET withdraw = ? WHERE id = ?", "ii", how, id);
}

static bool is_mail(struct wp_txn *txn, int64_t id, enum wp_status *status)
{
    int64_t count = 0;
    *status = wp_sql_int(txn->sql, &count,
                         "SELECT COUNT(*) FROM delivery WHERE id = ? AND kind = 'mail'", "i", id);
    return count > 0;
}

enum wp_status wp_delivery_act_redirect(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                        struct wp_error *error)
{
    int64_t id;
    int64_t printer;
    char name[64] = "";
    char text[200];
    enum wp_delivery_state state;
    enum wp_status status = begin(txn, ask, &id, &state, error);
    if (status)
        return status;
    if (!wp_ask_int(ask, "printer", &printer))
        return wp_fail(error, WP_INVALID, "Name the printer by its id.");
    bool mail = is_mail(txn, id, &status);
    if (!status && mail)
        return wp_fail(error, WP_CONFLICT, "Mail goes to no printer.");
    if (!status)
        status = name_of_printer(txn, printer, name, error);
    if (!status)
        status = wp_sql_run(txn->sql, "UPDATE delivery SET wanted_printer_id = ? WHERE id = ?",
                            "ii", printer, id);
    if (status)
        return status;
    snprintf(text, sizeof text, "Sent to printer %s by hand.", name);
    if (state == WP_DELIVERY_SENDING || state == WP_DELIVERY_PRINTING) {
        status = set_withdraw(txn, id, 2);
        if (!status)
            status = wp_ask_record(txn, ask, "delivery", "delivery", id, "redirect");
        return status ? status : wp_delivery_json(txn->sql, id, false, out, error);
    }
    if (state != WP_DELIVERY_WAITING && state != WP_DELIVERY_ASKING && state != WP_DELIVERY_FAILED)
        return not_now(state, error);
    status = due_now(txn, id);
    return status ? status : finish(txn, ask, id, WP_DELIVERY_WAITING, text, out, error);
}

enum wp_status wp_delivery_act_cancel(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                      struct wp_error *error)
{
    int64_t id;
    enum wp_delivery_state state;
    enum wp_status status = begin(txn, ask, &id, &state, error);
    if (status)
        return status;
    bool mail = is_mail(txn, id, &status);
    if (status)
        return status;
    if (state == WP_DELIVERY_WAITING || state == WP_DELIVERY_ASKING)
        return finish(txn, ask, id, WP_DELIVERY_CANCELLED, "Cancelled.", out, error);
    if (mail || (state != WP_DELIVERY_SENDING && state != WP_DELIVERY_PRINTING &&
                 state != WP_DELIVERY_UNCERTAIN))
        return not_now(state, error);
    /* The printer is asked to give it back; the state follows from what it says. */
    status = set_withdraw(txn, id, 1);
    if (!status)
        status = wp_ask_record(txn, ask, "delivery", "delivery", id, "cancel");
    return status ? status : wp_delivery_json(txn->sql, id, false, out, error);
}

enum wp_status wp_delivery_act_answer(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                      struct wp_error *error)
{
    int64_t id;
    enum wp_delivery_state state;
    enum wp_status status = begin(txn, ask, &id, &state, error);
    if (status)
        return status;
    const char *answer = wp_ask_text(ask, "answer");
    if (answer == NULL || (strcmp(answer, "print") != 0 && strcmp(answer, "inbox") != 0))
        return wp_fail(error, WP_INVALID, "The answer is print or inbox.");
    if (state != WP_DELIVERY_ASKING)
        return not_now(state, error);
    if (strcmp(answer, "inbox") == 0)
        return finish(txn, ask, id, WP_DELIVERY_INBOX, "Inbox only, as chosen.", out, error);
    status = wp_sql_run(txn->sql, "UPDATE delivery SET wanted_printer_id = printer_id WHERE id = ?",
                        "i", id);
    return status ? status
                  : finish(txn, ask, id, WP_DELIVERY_WAITING, "Print in the other room, as chosen.",
                           out, error);
}

enum wp_status wp_delivery_act_resolve(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                       struct wp_error *error)
{
    int64_t id;
    enum wp_delivery_state state;
    enum wp_status status = begin(txn, ask, &id, &state, error);
    if (status)
        return status;
    const char *found = wp_ask_text(ask, "found");
    if (found == NULL || (strcmp(found, "printed") != 0 && strcmp(found, "not printed") != 0))
        return wp_fail(error, WP_INVALID, "Found is \"printed\" or \"not printed\".");
    if (state != WP_DELIVERY_UNCERTAIN)
        return not_now(state, error);
    if (strcmp(found, "printed") == 0)
        return finish(txn, ask, id, WP_DELIVERY_DONE, "Somebody has found it printed.", out, error);
    status = due_now(txn, id);
    return status ? status
                  : finish(txn, ask, id, WP_DELIVERY_WAITING,
                           "Somebody has looked: it was not printed. Sent again.", out, error);
}
