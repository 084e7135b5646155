/* What a visit found, written down: one transaction a visit. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "choose.h"
#include "dispatch_parts.h"

enum { ATTEMPTS_MOST = 4, LATER_S = 10, SOON_S = 2, TELL_EVERY_S = 60, REASON_ROOM = 400 };

static const char stuck[] = "; the sheet comes out there once that is put right.";

struct apply {
    struct wp_node *node;
    struct wp_visit visit; /* results */
    char name[64];
    char where[96];
    bool tell;
    char state[16];
};

/* What the row says now, inside the transaction. */
struct now {
    enum wp_delivery_state state;
    char reason[REASON_ROOM];
    int64_t withdraw;
    int64_t attempts;
};

static enum wp_status read_now(struct wp_txn *txn, const struct apply *apply, int64_t delivery,
                               struct now *now)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(txn->sql, &rows,
                                         "SELECT state, reason, withdraw, attempts FROM delivery"
                                         " WHERE id = ? AND printer_id = ?",
                                         "ii", delivery, apply->visit.printer);
    if (status)
        return status;
    bool found = wp_rows_next(&rows) && wp_delivery_state_read(wp_rows_text(&rows, 0), &now->state);
    if (found) {
        snprintf(now->reason, sizeof now->reason, "%s", wp_rows_text(&rows, 1));
        now->withdraw = wp_rows_int(&rows, 2);
        now->attempts = wp_rows_int(&rows, 3);
    }
    status = wp_rows_end(&rows);
    return status || found ? status : WP_NOT_FOUND;
}

static enum wp_status move(struct wp_txn *txn, int64_t delivery, enum wp_delivery_state to,
                           const char *reason)
{
    struct wp_move one = {
        .delivery = delivery, .to = to, .reason = reason, .actor = WP_ACTOR_SYSTEM};
    return wp_delivery_move(txn, &one);
}

static enum wp_status postpone(struct wp_txn *txn, int64_t delivery, int64_t seconds, bool count)
{
    return wp_sql_run(txn->sql,
                      "UPDATE delivery SET due_us = ?, attempts = attempts + ? WHERE id = ?", "iii",
                      txn->now + seconds * WP_SECOND, (int64_t)count, delivery);
}

/* The printer would not have it: again later, but not for ever. */
static enum wp_status refused(struct wp_txn *txn, const struct apply *apply,
                              const struct wp_visit_item *item, const struct now *now)
{
    char text[REASON_ROOM];
    bool counted = item->in_doubt || item->job > 0;
    int64_t attempts = now->attempts + (counted ? 0 : 1);
    bool enough = attempts >= ATTEMPTS_MOST;
    snprintf(text, sizeof text, enough ? "%s%s %s, %d times. Tell staff." : "%s%s %s.",
             wp_printer_word(apply->name), apply->name, item->text, (int)attempts);
    if (now->withdraw == 1)
        return move(txn, item->delivery, WP_DELIVERY_CANCELLED, text);
    enum wp_status status = postpone(txn, item->delivery, LATER_S, !counted);
    return status
               ? status
               : move(txn, item->delivery, enough ? WP_DELIVERY_FAILED : WP_DELIVERY_WAITING, text);
}

static enum wp_status not_drawn(struct wp_txn *txn, const struct wp_visit_item *item,
                                const struct now *now)
{
    char text[REASON_ROOM];
    bool fails = item->result == WP_VISIT_NOT_DRAWN || now->attempts + 1 >= 2 * ATTEMPTS_MOST;
    snprintf(text, sizeof text, "The sheet could not be made: %s", item->text);
    enum wp_status status = postpone(txn, item->delivery, LATER_S, true);
    return status
               ? status
               : move(txn, item->delivery, fails ? WP_DELIVERY_FAILED : WP_DELIVERY_WAITING, text);
}

/* Nothing came out and nothing will. */
static enum wp_status back_again(struct wp_txn *txn, const struct apply *apply,
                                 const struct wp_visit_item *item, const struct now *now)
{
    char text[REASON_ROOM];
    if (item->text[0] != '\0')
        snprintf(text, sizeof text, "%s%s %s.", wp_printer_word(apply->name), apply->name,
                 item->text);
    else
        snprintf(text, sizeof text, "Taken back from printer %s.", apply->name);
    return move(txn, item->delivery,
                now->withdraw == 1 ? WP_DELIVERY_CANCELLED : WP_DELIVERY_WAITING, text);
}

static enum wp_status sent(struct wp_txn *txn, const struct wp_visit_item *item,
                           const struct now *now)
{
    enum wp_status status = wp_sql_run(txn->sql, "UPDATE delivery SET job = ? WHERE id = ?", "ii",
                                       (int64_t)item->job, item->delivery);
    return status ? status : move(txn, item->delivery, WP_DELIVERY_PRINTING, now->reason);
}

static bool ends_with(const char *text, const char *ending)
{
    size_t size = strlen(text);
    size_t length = strlen(ending);
    return size >= length && strcmp(text + size - length, ending) == 0;
}

/* Tells why it takes long, and that it goes on again; otherwise what was said last still holds. */
static enum wp_status goes_on(struct wp_txn *txn, const struct apply *apply,
                              const struct wp_visit_item *item, const struct now *now)
{
    char text[REASON_ROOM];
    snprintf(text, sizeof text, "%s", now->reason);
    if (item->text[0] != '\0')
        snprintf(text, sizeof text, "%s%s %s%s", wp_printer_word(apply->name), apply->name,
                 item->text, stuck);
    else if (now->state == WP_DELIVERY_UNCERTAIN || ends_with(now->reason, stuck))
        snprintf(text, sizeof text, "Printing at %s.", apply->name);
    enum wp_status status = wp_sql_run(txn->sql, "UPDATE delivery SET job = ? WHERE id = ?", "ii",
                                       (int64_t)item->job, item->delivery);
    return status ? status : move(txn, item->delivery, WP_DELIVERY_PRINTING, text);
}

static enum wp_status came_out(struct wp_txn *txn, const struct apply *apply,
                               const struct wp_visit_item *item)
{
    char text[REASON_ROOM];
    if (apply->visit.raw)
        snprintf(text, sizeof text, "Sent to %s, which cannot report whether it came out.",
                 apply->name);
    else if (apply->where[0] != '\0')
        snprintf(text, sizeof text, "Printed at %s, %s.", apply->name, apply->where);
    else
        snprintf(text, sizeof text, "Printed at %s.", apply->name);
    return move(txn, item->delivery, WP_DELIVERY_DONE, text);
}

static enum wp_status cannot_say(struct wp_txn *txn, const struct apply *apply,
                                 const struct wp_visit_item *item)
{
    char text[REASON_ROOM];
    snprintf(text, sizeof text, "%s%s %s. Somebody must look whether the sheet came out.",
             wp_printer_word(apply->name), apply->name, item->text);
    return move(txn, item->delivery, WP_DELIVERY_UNCERTAIN, text);
}

static enum wp_status not_sent(struct wp_txn *txn, const struct apply *apply,
                               const struct wp_visit_item *item, const struct now *now)
{
    char text[REASON_ROOM];
    snprintf(text, sizeof text, "%s%s %s.", wp_printer_word(apply->name), apply->name, item->text);
    return move(txn, item->delivery,
                now->withdraw == 1 ? WP_DELIVERY_CANCELLED : WP_DELIVERY_WAITING, text);
}

static enum wp_status write_result(struct wp_txn *txn, const struct apply *apply,
                                   const struct wp_visit_item *item, const struct now *now)
{
    char text[REASON_ROOM];
    enum wp_status status;
    switch (item->result) {
    case WP_VISIT_UNANSWERED:
        return WP_OK;
    case WP_VISIT_NOT_SENT:
        return not_sent(txn, apply, item, now);
    case WP_VISIT_BUSY:
        status = postpone(txn, item->delivery, SOON_S, false);
        return status ? status : not_sent(txn, apply, item, now);
    case WP_VISIT_REFUSED:
        return refused(txn, apply, item, now);
    case WP_VISIT_NOT_DRAWN:
    case WP_VISIT_DRAW_LATER:
        return not_drawn(txn, item, now);
    case WP_VISIT_SENT:
        return sent(txn, item, now);
    case WP_VISIT_GOES_ON:
        return goes_on(txn, apply, item, now);
    case WP_VISIT_CAME_OUT:
        return came_out(txn, apply, item);
    case WP_VISIT_TAKEN_BACK:
        return back_again(txn, apply, item, now);
    case WP_VISIT_CANCELLED:
        snprintf(text, sizeof text, "Cancelled at printer %s.", apply->name);
        return move(txn, item->delivery, WP_DELIVERY_CANCELLED, text);
    case WP_VISIT_CANNOT_SAY:
        return cannot_say(txn, apply, item);
    }
    return WP_OK;
}

static enum wp_status tell_printer(struct wp_txn *txn, const struct apply *apply)
{
    const struct wp_visit *visit = &apply->visit;
    const struct wp_ipp_look *look = &visit->look;
    char before[16] = "";
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(txn->sql, &rows, "SELECT state FROM printer WHERE id = ?",
                                         "i", visit->printer);
    if (status)
        return status;
    if (wp_rows_next(&rows))
        snprintf(before, sizeof before, "%s", wp_rows_text(&rows, 0));
    status = wp_rows_end(&rows);
    bool changed = strcmp(before, apply->state) != 0;
    if (!status)
        status =
            wp_sql_run(txn->sql,
                       "UPDATE printer SET state = ?, state_text = ?, reasons = ?, jobs = ?,"
                       " seen_us = CASE WHEN ? THEN ? ELSE seen_us END,"
                       " changed_us = CASE WHEN ? THEN ? ELSE changed_us END,"
                       " certificate = CASE WHEN ? THEN ? ELSE certificate END WHERE id = ?",
                       "tttiiiiiiti", apply->state, visit->answered ? visit->lacks : visit->trouble,
                       look->words.reasons, (int64_t)look->jobs, (int64_t)visit->answered, txn->now,
                       (int64_t)changed, txn->now, (int64_t)visit->answered,
                       visit->target.certificate, visit->printer);
    if (!status && visit->answered && !visit->raw)
        status = wp_sql_run(txn->sql,
                            "UPDATE printer SET model = ?, media = ?, sides = ?, colour = ?"
                            " WHERE id = ?",
                            "tttii", look->model, look->media, look->sides, (int64_t)look->colour,
                            visit->printer);
    if (!status && changed && visit->options->printer_state != NULL)
        status = visit->options->printer_state(txn, visit->printer, apply->state);
    return status;
}

static enum wp_status write_apply(struct wp_txn *txn, void *job)
{
    const struct apply *apply = job;
    enum wp_status status = apply->tell ? tell_printer(txn, apply) : WP_OK;
    for (size_t i = 0; i < apply->visit.count && !status; i++) {
        const struct wp_visit_item *item = &apply->visit.items[i];
        struct now now;
        status = read_now(txn, apply, item->delivery, &now);
        if (!status)
            status = write_result(txn, apply, item, &now);
        if (status == WP_CONFLICT || status == WP_NOT_FOUND) {
            wp_log(WP_LOG_WARN, "dispatch",
                   "delivery %" PRId64 " was changed by somebody meanwhile", item->delivery);
            status = WP_OK;
        }
    }
    return status;
}

static void applied(void *job, enum wp_status status)
{
    struct apply *apply = job;
    struct wp_node *node = apply->node;
    struct wp_dispatch *dispatch = node->dispatch;
    if (status)
        wp_log(WP_LOG_WARN, "dispatch", "results of printer %" PRId64 " not written: %s", node->id,
               wp_status_name(status));
    node->visiting = false;
    node->fresh_after = dispatch->serial;
    dispatch->kicked = true;
    dispatch->pending--;
    free(apply);
}

/* ---- on the loop ---- */

static const char *state_word(const struct wp_visit *visit)
{
    if (!visit->answered)
        return "unreachable";
    if (visit->raw)
        return "unknown";
    if (visit->health == WP_HEALTH_BLOCKED)
        return "stopped";
    if (visit->health == WP_HEALTH_DOUBTFUL)
        return "attention";
    return visit->look.words.state == 4 ? "printing" : "ready";
}

/* True if something about the printer is new, or it is time to say that it is still there. */
static bool worth_telling(struct wp_node *node, const char *state)
{
    char told[sizeof node->told];
    const struct wp_ipp_look *look = &node->visit->look;
    int64_t now = wp_clock_steady();
    snprintf(told, sizeof told, "%s|%s|%d|%s|%s|%.64s", state, look->words.reasons, look->jobs,
             node->visit->trouble, node->visit->lacks, node->visit->target.certificate);
    bool news = strcmp(told, node->told) != 0 ||
                (node->visit->answered && now - node->told_at > TELL_EVERY_S * WP_SECOND);
    if (news) {
        snprintf(node->told, sizeof node->told, "%s", told);
        node->told_at = now;
    }
    return news;
}

/* A sheet got stuck there: until the printer is well again, its "some paper is missing" counts. */
static void note_health(struct wp_node *node)
{
    const struct wp_visit *visit = node->visit;
    enum wp_health before = node->health;
    node->health = visit->health;
    node->lacks = visit->lacks;
    node->jobs = visit->answered && !visit->raw ? visit->look.jobs : -1;
    node->troubled_looks = visit->health == WP_HEALTH_READY ? 0 : node->troubled_looks + 1;
    if (visit->health == WP_HEALTH_READY)
        node->distrusted = false;
    for (size_t i = 0; i < visit->count; i++)
        if (visit->items[i].result == WP_VISIT_TAKEN_BACK && visit->items[i].movable)
            node->distrusted = true;
    if (before != node->health)
        node->dispatch->reconsider = true;
}

static void plan_next(struct wp_node *node)
{
    int64_t now = wp_clock_steady();
    node->follow_at = now + (int64_t)node->dispatch->options.follow_ms * 1000;
    node->watch_at = now + (int64_t)node->dispatch->options.watch_ms * 1000;
    if (node->visit->answered)
        node->answered_at = now;
}

/* A printer that has our sheet and has been silent for long: nobody knows what it does. */
static void judge_silence(struct wp_node *node)
{
    int64_t limit = (int64_t)node->dispatch->options.silence_ms * 1000;
    int64_t silent = wp_clock_steady() - node->answered_at;
    for (size_t i = 0; i < node->visit->count; i++) {
        struct wp_visit_item *item = &node->visit->items[i];
        bool long_ago = wp_clock_utc() - item->sent_us > limit;
        if (item->result == WP_VISIT_UNANSWERED && item->in_doubt && long_ago && silent > limit)
            wp_visit_say(item, WP_VISIT_CANNOT_SAY, "has the sheet but does not answer");
    }
}

void wp_dispatch_apply(struct wp_node *node)
{
    struct wp_dispatch *dispatch = node->dispatch;
    plan_next(node);
    judge_silence(node);
    note_health(node);
    struct apply *apply = calloc(1, sizeof *apply);
    if (apply != NULL) {
        apply->node = node;
        apply->visit = *node->visit;
        memcpy(apply->name, node->row.name, sizeof apply->name);
        memcpy(apply->where, node->row.where, sizeof apply->where);
        snprintf(apply->state, sizeof apply->state, "%s", state_word(node->visit));
        apply->tell = worth_telling(node, apply->state);
    }
    bool needed = apply == NULL || apply->tell || apply->visit.count > 0;
    /* Unwritten results are not lost: rows in doubt are asked after again, the others sent again.
     */
    if (!needed || apply == NULL ||
        wp_db_write(dispatch->db, write_apply, applied, apply) != WP_OK) {
        free(apply);
        node->visiting = false;
        if (needed) {
            node->fresh_after = dispatch->serial;
            node->told[0] = '\0';
            dispatch->kicked = true;
        }
        return;
    }
    dispatch->pending++;
}
