/* Printers as this process knows them: made and dropped as the snapshot says. */
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "dispatch_parts.h"

bool wp_node_fresh(const struct wp_node *node)
{
    const struct wp_snapshot *snapshot = node->dispatch->snapshot;
    return snapshot != NULL && (int)(snapshot->serial - node->fresh_after) > 0;
}

struct wp_node *wp_node_find(struct wp_dispatch *dispatch, int64_t printer)
{
    for (size_t i = 0; i < WP_PRINTERS_MOST && printer != 0; i++)
        if (dispatch->nodes[i].id == printer)
            return &dispatch->nodes[i];
    return NULL;
}

static struct wp_node *make_node(struct wp_dispatch *dispatch, const struct wp_printer_row *row)
{
    for (size_t i = 0; i < WP_PRINTERS_MOST; i++) {
        struct wp_node *node = &dispatch->nodes[i];
        if (node->id != 0)
            continue;
        memset(node, 0, sizeof *node);
        node->visit = calloc(1, sizeof *node->visit);
        node->lane = node->visit != NULL ? wp_lane_new(dispatch->loop, "printer", 1, 1) : NULL;
        if (node->lane == NULL) {
            free(node->visit);
            wp_log(WP_LOG_ERROR, "dispatch", "no thread for one more printer");
            return NULL;
        }
        node->dispatch = dispatch;
        node->id = row->id;
        node->lacks = "";
        node->jobs = -1;
        return node;
    }
    return NULL;
}

static void drop_node(struct wp_node *node)
{
    wp_lane_free(node->lane);
    free(node->visit);
    memset(node, 0, sizeof *node);
}

/* Whatever was known of it was about another printer. */
static void forget_health(struct wp_node *node)
{
    node->health = WP_HEALTH_UNKNOWN;
    node->distrusted = false;
    node->troubled_looks = 0;
    node->watch_at = 0;
    node->answered_at = 0;
}

void wp_nodes_update(struct wp_dispatch *dispatch)
{
    const struct wp_snapshot *snapshot = dispatch->snapshot;
    for (size_t i = 0; i < WP_PRINTERS_MOST; i++)
        dispatch->nodes[i].present = false;
    for (size_t i = 0; i < snapshot->printer_count; i++) {
        const struct wp_printer_row *row = &snapshot->printers[i];
        struct wp_node *node = wp_node_find(dispatch, row->id);
        if (node == NULL)
            node = make_node(dispatch, row);
        if (node == NULL)
            continue;
        if (strcmp(node->row.uri, row->uri) != 0 ||
            (row->certificate[0] == '\0' && node->row.certificate[0] != '\0'))
            forget_health(node);
        node->row = *row;
        node->present = true;
    }
    for (size_t i = 0; i < WP_PRINTERS_MOST; i++) {
        struct wp_node *node = &dispatch->nodes[i];
        if (node->id != 0 && !node->present && !node->visiting)
            drop_node(node);
    }
}

void wp_nodes_release(struct wp_dispatch *dispatch)
{
    for (size_t i = 0; i < WP_PRINTERS_MOST; i++) {
        wp_lane_free(dispatch->nodes[i].lane);
        dispatch->nodes[i].lane = NULL;
    }
}
