/* Composing the next visit to a printer. */
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "dispatch_parts.h"

static bool is_under_way(const struct wp_delivery_row *row)
{
    return row->state == WP_DELIVERY_SENDING || row->state == WP_DELIVERY_PRINTING ||
           row->state == WP_DELIVERY_UNCERTAIN;
}

static bool is_ours(const struct wp_node *node, const struct wp_delivery_row *row)
{
    return !row->mail && row->printer == node->id && is_under_way(row) &&
           row->lease_owner == node->dispatch->options.owner;
}

/* When something must be asked: at once for a sheet to be sent, soon for one that prints; uncertain
 * ones are asked after whenever the printer is looked at anyway. */
static int64_t due_at(const struct wp_node *node)
{
    const struct wp_snapshot *snapshot = node->dispatch->snapshot;
    int64_t due = node->watch_at;
    for (size_t i = 0; i < snapshot->count; i++) {
        const struct wp_delivery_row *row = &snapshot->rows[i];
        if (!is_ours(node, row) || row->state == WP_DELIVERY_UNCERTAIN)
            continue;
        if (!row->in_doubt)
            return 0;
        if (node->follow_at < due)
            due = node->follow_at;
    }
    return due;
}

/* True if the sheet would find another printer now. One that lies here already is moved only after
 * the second look in trouble, and for a question about another room as well; one not yet sent only
 * for a printer that is surely ready. */
static bool movable(const struct wp_node *node, const struct wp_delivery_row *row)
{
    struct wp_choice choice;
    if (row->in_doubt && node->troubled_looks == 0)
        return false;
    wp_dispatch_choose(node->dispatch, row, node->id, &choice);
    const struct wp_node *other = wp_node_find(node->dispatch, choice.printer);
    bool ready = other != NULL && other->health == WP_HEALTH_READY;
    return ready &&
           (choice.kind == WP_CHOICE_SEND || (choice.kind == WP_CHOICE_ASK && row->in_doubt));
}

static void add_item(const struct wp_node *node, const struct wp_delivery_row *row)
{
    node->visit->items[node->visit->count++] = (struct wp_visit_item){
        .delivery = row->id,
        .measurement = row->measurement,
        .person = row->person,
        .large_print = row->large_print,
        .in_doubt = row->in_doubt,
        .sheet_sent = row->state == WP_DELIVERY_PRINTING,
        .withdraw = row->withdraw,
        .movable = movable(node, row),
        .sent_us = row->changed_us,
        .job = row->job,
    };
}

/* Sheets to send come before those to ask after, then the least recently changed first. */
static void add_items(const struct wp_node *node)
{
    const struct wp_snapshot *snapshot = node->dispatch->snapshot;
    for (int in_doubt = 0; in_doubt <= 1; in_doubt++)
        for (size_t i = 0; i < snapshot->count && node->visit->count < WP_VISIT_ITEMS; i++)
            if (is_ours(node, &snapshot->rows[i]) && snapshot->rows[i].in_doubt == (in_doubt != 0))
                add_item(node, &snapshot->rows[i]);
}

static void compose(struct wp_node *node)
{
    struct wp_visit *visit = node->visit;
    const struct wp_printer_row *row = &node->row;
    memset(visit, 0, sizeof *visit);
    visit->db = node->dispatch->db;
    visit->options = &node->dispatch->options;
    visit->printer = node->id;
    snprintf(visit->target.uri, sizeof visit->target.uri, "%s", row->uri);
    snprintf(visit->target.certificate, sizeof visit->target.certificate, "%s", row->certificate);
    visit->target.answer_ms = node->dispatch->options.answer_ms;
    visit->raw = strncmp(row->uri, "socket:", 7) == 0;
    snprintf(visit->language, sizeof visit->language, "%s", row->language);
    visit->letter = row->letter;
    visit->behind_most = row->behind_most;
    visit->health = node->health;
    visit->lacks = node->lacks;
    add_items(node);
}

static void work(void *job)
{
    struct wp_node *node = job;
    if (node->visit->raw)
        wp_raw_visit_run(node->visit);
    else
        wp_visit_run(node->visit);
}

static void done(void *job, bool ran)
{
    struct wp_node *node = job;
    node->dispatch->pending--;
    if (ran)
        wp_dispatch_apply(node);
    else
        node->visiting = false;
}

void wp_dispatch_follow(struct wp_dispatch *dispatch, struct wp_node *node)
{
    if (dispatch->stopping || node->visiting || !node->present || !wp_node_fresh(node) ||
        due_at(node) > wp_clock_steady())
        return;
    compose(node);
    if (wp_lane_submit(node->lane, work, done, node) != WP_OK)
        return;
    node->visiting = true;
    dispatch->pending++;
}
