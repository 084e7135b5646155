/* dispatch/dispatch_parts.h - the dispatcher's insides, shared by its files. Loop thread only.
 *
 * The database is the truth. A *look* reads a snapshot; *deciding* is one write job that claims
 * deliveries, asks or explains; a *visit* does what a printer must be asked; its results are
 * *applied* in one write job. A printer is not visited again before a snapshot younger than its
 * last applied results is there.
 */
#ifndef DISPATCH_PARTS_H
#define DISPATCH_PARTS_H

#include <uv.h>

#include "base/lane.h"
#include "mailbox.h"
#include "snapshot.h"
#include "visit.h"

#define WP_MAILS_MOST 4 /* mails under way together */

/* A printer as this process knows it. */
struct wp_node {
    struct wp_dispatch *dispatch;
    int64_t id; /* 0: a free place */
    struct wp_printer_row row;
    bool present; /* in the newest snapshot */
    struct wp_lane *lane;
    bool visiting; /* from submitting the visit until its results are committed */
    struct wp_visit *visit;
    unsigned fresh_after; /* snapshots up to this serial are older than the last results */
    enum wp_health health;
    const char *lacks; /* literal */
    bool distrusted;
    unsigned troubled_looks; /* in a row */
    int jobs;
    int64_t watch_at; /* steady times: next look at it */
    int64_t follow_at;
    int64_t answered_at; /* last answer; 0: never */
    /* what the database was last told */
    char told[512];
    int64_t told_at;
};

struct wp_mail_job;

struct wp_dispatch {
    struct wp_db *db;
    uv_loop_t *loop;
    struct wp_dispatch_options options;
    struct wp_post_options post;
    bool has_post;
    char *spool;
    struct wp_http *http;
    struct wp_lane *mail_lane;
    struct wp_mailbox *mailbox; /* NULL: none is read */
    uv_timer_t timer;
    bool timer_closed;
    bool stopping;
    bool kicked;
    bool looking;
    bool deciding;
    bool reconsider; /* a printer's health has changed since the last deciding */
    size_t pending;  /* jobs of ours at database and lanes whose done is still to come */
    int64_t looked_at;
    unsigned serial;
    unsigned decide_after; /* snapshots up to this serial are older than the last decisions */
    struct wp_snapshot *snapshot; /* newest whole one */
    struct wp_snapshot *next;     /* being read */
    struct wp_node nodes[WP_PRINTERS_MOST];
    struct wp_mail_job *mails[WP_MAILS_MOST];
};

/* nodes.c */
void wp_nodes_update(struct wp_dispatch *dispatch);
struct wp_node *wp_node_find(struct wp_dispatch *dispatch, int64_t printer);
void wp_nodes_release(struct wp_dispatch *dispatch);
/* True if the snapshot knows what was last done at this printer. */
bool wp_node_fresh(const struct wp_node *node);

/* rank.c: where one delivery could go now. */
void wp_dispatch_choose(struct wp_dispatch *dispatch, const struct wp_delivery_row *row,
                        int64_t without, struct wp_choice *choice);

/* decide.c */
void wp_dispatch_decide(struct wp_dispatch *dispatch);

/* follow.c */
void wp_dispatch_follow(struct wp_dispatch *dispatch, struct wp_node *node);

/* apply.c: turns the results of a visit into a write job and starts it. */
void wp_dispatch_apply(struct wp_node *node);

/* mail.c */
void wp_dispatch_mail(struct wp_dispatch *dispatch);

bool wp_dispatch_holds(const struct wp_dispatch *dispatch, const struct wp_delivery_row *row);

#endif
