/* Where one delivery could go now: the printers ranked from its instrument. */
#include <stdlib.h>

#include "dispatch_parts.h"

/* Sheets of ours that are on their way to a printer; the printer may not count them yet. */
static int own_jobs(const struct wp_snapshot *snapshot, int64_t printer)
{
    int jobs = 0;
    for (size_t i = 0; i < snapshot->count; i++) {
        const struct wp_delivery_row *row = &snapshot->rows[i];
        jobs += row->printer == printer &&
                (row->state == WP_DELIVERY_SENDING || row->state == WP_DELIVERY_PRINTING);
    }
    return jobs;
}

static void describe(struct wp_dispatch *dispatch, const struct wp_candidate *candidate,
                     struct wp_choice_printer *out)
{
    const struct wp_node *node = wp_node_find(dispatch, candidate->id);
    int own = own_jobs(dispatch->snapshot, candidate->id);
    *out = (struct wp_choice_printer){
        .candidate = *candidate,
        .health = node->health,
        .mode = node->row.mode,
        .jobs = node->jobs > own ? node->jobs : own,
        .behind_most = node->row.behind_most,
        .distrusted = node->distrusted,
        .name = node->row.name,
        .where = node->row.where,
        .lacks = node->lacks,
    };
}

void wp_dispatch_choose(struct wp_dispatch *dispatch, const struct wp_delivery_row *row,
                        int64_t without, struct wp_choice *choice)
{
    struct wp_candidate candidates[WP_PRINTERS_MOST];
    struct wp_choice_printer printers[WP_PRINTERS_MOST];
    size_t count = 0;
    for (size_t i = 0; i < WP_PRINTERS_MOST; i++) {
        const struct wp_node *node = &dispatch->nodes[i];
        if (node->id == 0 || !node->present)
            continue;
        candidates[count++] = (struct wp_candidate){
            .id = node->id,
            .spot = {node->row.place, node->row.measured, node->row.x_m, node->row.y_m}};
    }
    struct wp_spot from = {row->from.place, row->from.measured, row->from.x_m, row->from.y_m};
    int64_t first = row->wanted != 0 ? row->wanted : row->from.first_printer;
    int64_t second = row->wanted != 0 ? row->from.first_printer : row->from.second_printer;
    if (!wp_places_rank(&from, first, second, candidates, count)) {
        *choice = (struct wp_choice){.kind = WP_CHOICE_LOOK};
        return;
    }
    for (size_t i = 0; i < count; i++)
        describe(dispatch, &candidates[i], &printers[i]);
    wp_choose(printers, count, row->wanted, without, choice);
}
