/* The dispatcher's heart: looks, and what follows from them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "dispatch_parts.h"

enum {
    TICK_MS = 100,
    LOOK_APART_MS = 50,
    LOOK_ANYWAY_S = 30,
    MAIL_LANE_JOBS = 16,
    STOP_MOST_S = 30
};

/* ---- looking ---- */

static void advance(struct wp_dispatch *dispatch);

static void looked(void *job, enum wp_status status)
{
    struct wp_snapshot *read = job;
    struct wp_dispatch *dispatch = read->dispatch;
    dispatch->looking = false;
    dispatch->pending--;
    if (status) {
        wp_log(WP_LOG_WARN, "dispatch", "reading deliveries failed: %s", wp_status_name(status));
        return;
    }
    dispatch->next = dispatch->snapshot;
    dispatch->snapshot = read;
    dispatch->reconsider = true;
    wp_nodes_update(dispatch);
    advance(dispatch);
}

static bool look_wanted(const struct wp_dispatch *dispatch)
{
    int64_t since = wp_clock_steady() - dispatch->looked_at;
    const struct wp_snapshot *snapshot = dispatch->snapshot;
    if (dispatch->looking || since < LOOK_APART_MS * 1000)
        return false;
    if (dispatch->kicked || snapshot == NULL || since > LOOK_ANYWAY_S * WP_SECOND)
        return true;
    return snapshot->next_due_us != 0 && snapshot->next_due_us <= wp_clock_utc();
}

static void look(struct wp_dispatch *dispatch)
{
    struct wp_snapshot *into = dispatch->next;
    if (into == NULL)
        into = calloc(1, sizeof *into);
    if (into == NULL)
        return;
    dispatch->next = into;
    into->dispatch = dispatch;
    into->serial = ++dispatch->serial;
    dispatch->kicked = false;
    dispatch->looked_at = wp_clock_steady();
    if (wp_db_read(dispatch->db, wp_snapshot_read, looked, into) != WP_OK) {
        dispatch->kicked = true;
        return;
    }
    dispatch->next = NULL;
    dispatch->looking = true;
    dispatch->pending++;
}

/* Everything that follows from what is known now. */
static void advance(struct wp_dispatch *dispatch)
{
    if (dispatch->stopping || dispatch->snapshot == NULL)
        return;
    if (dispatch->reconsider) {
        dispatch->reconsider = false;
        wp_dispatch_decide(dispatch);
        if (dispatch->has_post)
            wp_dispatch_mail(dispatch);
    }
    for (size_t i = 0; i < WP_PRINTERS_MOST; i++)
        if (dispatch->nodes[i].id != 0)
            wp_dispatch_follow(dispatch, &dispatch->nodes[i]);
}

static void tick(uv_timer_t *timer)
{
    struct wp_dispatch *dispatch = timer->data;
    if (!dispatch->stopping && look_wanted(dispatch))
        look(dispatch);
    wp_mailbox_tick(dispatch->mailbox);
    advance(dispatch);
}

void wp_dispatch_kick(struct wp_dispatch *dispatch)
{
    if (dispatch == NULL || dispatch->stopping)
        return;
    dispatch->kicked = true;
    /* The timer may be up to a tick away: a sheet should not wait for that. */
    if (look_wanted(dispatch))
        look(dispatch);
}

/* ---- starting ---- */

static char *keep(const char *text)
{
    return text != NULL ? strdup(text) : NULL;
}

static bool copy_post(struct wp_dispatch *dispatch, const struct wp_post_options *post)
{
    struct wp_post_options *own = &dispatch->post;
    *own = *post;
    own->url = keep(post->url);
    own->user = keep(post->user);
    own->password = keep(post->password);
    own->ca_file = keep(post->ca_file);
    own->from = keep(post->from);
    own->from_name = keep(post->from_name);
    own->reply_to = keep(post->reply_to);
    own->sub_address = keep(post->sub_address);
    own->public_url = keep(post->public_url);
    dispatch->has_post = true;
    return own->url != NULL && own->from != NULL;
}

/* Frees a text of ours that the public structure shows as const. */
static void drop(const char *text)
{
    char *own;
    memcpy(&own, &text, sizeof own);
    free(own);
}

static void free_texts(struct wp_dispatch *dispatch)
{
    const struct wp_post_options *post = &dispatch->post;
    drop(post->url);
    drop(post->user);
    drop(post->password);
    drop(post->ca_file);
    drop(post->from);
    drop(post->from_name);
    drop(post->reply_to);
    drop(post->sub_address);
    drop(post->public_url);
    free(dispatch->spool);
}

static void set_default(unsigned *value, unsigned otherwise)
{
    if (*value == 0)
        *value = otherwise;
}

static void set_defaults(struct wp_dispatch_options *options)
{
    set_default(&options->watch_ms, 10000);
    set_default(&options->follow_ms, 1000);
    set_default(&options->answer_ms, 5000);
    set_default(&options->silence_ms, 60000);
    set_default(&options->lease_ms, 120000);
    if (options->owner == 0)
        options->owner = 1;
}

static bool start_mail(struct wp_dispatch *dispatch)
{
    struct wp_http_options http = {.connections = WP_MAILS_MOST, .ca_file = dispatch->post.ca_file};
    dispatch->http = wp_http_new(dispatch->loop, &http);
    dispatch->mail_lane = wp_lane_new(dispatch->loop, "mail", 1, MAIL_LANE_JOBS);
    return dispatch->http != NULL && dispatch->mail_lane != NULL;
}

static bool start_mailbox(struct wp_dispatch *dispatch)
{
    if (dispatch->options.mailbox == NULL)
        return true;
    dispatch->mailbox =
        wp_mailbox_new(dispatch->db, dispatch->loop, dispatch->options.mailbox, &dispatch->pending);
    return dispatch->mailbox != NULL;
}

static bool set_up(struct wp_dispatch *dispatch, const struct wp_dispatch_options *options)
{
    dispatch->options = *options;
    set_defaults(&dispatch->options);
    dispatch->spool = keep(options->spool != NULL ? options->spool : wp_db_folder(dispatch->db));
    dispatch->options.spool = dispatch->spool;
    if (dispatch->spool == NULL || !start_mailbox(dispatch))
        return false;
    if (options->post == NULL)
        return true;
    return copy_post(dispatch, options->post) && start_mail(dispatch);
}

static void free_all(struct wp_dispatch *dispatch)
{
    wp_nodes_release(dispatch);
    wp_lane_free(dispatch->mail_lane);
    wp_http_free(dispatch->http);
    wp_mailbox_free(dispatch->mailbox);
    free_texts(dispatch);
    free(dispatch->snapshot);
    free(dispatch->next);
    free(dispatch);
}

enum wp_status wp_dispatch_start(struct wp_db *db, uv_loop_t *loop,
                                 const struct wp_dispatch_options *options,
                                 struct wp_dispatch **dispatch, struct wp_error *error)
{
    struct wp_dispatch *made = calloc(1, sizeof *made);
    *dispatch = NULL;
    if (made == NULL)
        return wp_fail(error, WP_NO_MEMORY, "No memory for the dispatcher.");
    made->db = db;
    made->loop = loop;
    made->kicked = true;
    if (!set_up(made, options) || uv_timer_init(loop, &made->timer) != 0) {
        free_all(made);
        return wp_fail(error, WP_NO_MEMORY, "No memory for the dispatcher.");
    }
    made->timer.data = made;
    if (uv_timer_start(&made->timer, tick, TICK_MS, TICK_MS) != 0)
        wp_log(WP_LOG_ERROR, "dispatch", "the timer does not start");
    *dispatch = made;
    return WP_OK;
}

/* ---- stopping ---- */

static void timer_closed(uv_handle_t *timer)
{
    struct wp_dispatch *dispatch = timer->data;
    dispatch->timer_closed = true;
}

void wp_dispatch_stop(struct wp_dispatch *dispatch)
{
    if (dispatch == NULL)
        return;
    dispatch->stopping = true;
    uv_close((uv_handle_t *)&dispatch->timer, timer_closed);
    /* Running visits end within their own bounds; their results are still written. */
    wp_nodes_release(dispatch);
    wp_lane_free(dispatch->mail_lane);
    dispatch->mail_lane = NULL;
    wp_http_free(dispatch->http);
    dispatch->http = NULL;
    wp_mailbox_stop(dispatch->mailbox);
    int64_t end = wp_clock_steady() + STOP_MOST_S * WP_SECOND;
    while ((dispatch->pending > 0 || !dispatch->timer_closed) && wp_clock_steady() < end) {
        uv_run(dispatch->loop, UV_RUN_NOWAIT);
        uv_sleep(1);
    }
    if (dispatch->pending > 0) {
        /* Whoever is still to answer points at it: better to leak once than to crash. */
        wp_log(WP_LOG_ERROR, "dispatch", "%zu jobs did not end in time", dispatch->pending);
        return;
    }
    for (size_t i = 0; i < WP_PRINTERS_MOST; i++)
        free(dispatch->nodes[i].visit);
    free_all(dispatch);
}
