#include <errno.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "people/sessions.h"
#include "request.h"

#define HTML_MOST (1024 * 1024)

/* The caller on the control socket: root or the gateway's own user, decided at accept. */
static void command_who(uid_t uid, struct wp_who *who)
{
    memset(who, 0, sizeof *who);
    who->actor = WP_ACTOR_COMMAND;
    who->roles = WP_ROLE_COMMAND;
    char room[4096];
    struct passwd entry;
    struct passwd *found = NULL;
    if (getpwuid_r(uid, &entry, room, sizeof room, &found) == 0 && found)
        snprintf(who->command_name, sizeof who->command_name, "%s", found->pw_name);
    else
        snprintf(who->command_name, sizeof who->command_name, "uid %lu", (unsigned long)uid);
}

/* The command says by a field of its own who is at work. */
static enum wp_status resolve_command(struct wp_request *request, struct wp_sql *sql)
{
    const char *named = request->command_as;
    command_who(request->peer->uid, &request->who);
    enum wp_status status = wp_command_named(sql, named, &request->who);
    if (status == WP_NOT_FOUND)
        return wp_fail(&request->error, WP_INVALID, "There is no person \"%.64s\".", named);
    return status;
}

/* Who it is, and whether they may. */
static enum wp_status admit(struct wp_request *request, struct wp_sql *sql, int64_t now)
{
    const struct wp_route *route = request->route;
    enum wp_status status = WP_OK;
    request->refused = false;
    if (request->peer->uid != (uid_t)-1)
        status = resolve_command(request, sql);
    else
        status = wp_who_resolve(sql, now, &request->proof, &request->who);
    if (status)
        return status;
    if ((route->flags & WP_ROUTE_LOOPBACK) && request->peer->loopback &&
        !strcmp(request->address, request->peer->address))
        return WP_OK;
    status = wp_access_check(sql, now, &request->who, route->roles, route->scope, &request->ask);
    request->refused = status != WP_OK;
    return status;
}

/* ---- before a body is kept ---- */

static enum wp_status run_admit(struct wp_sql *sql, void *job)
{
    return admit(job, sql, wp_clock_utc());
}

/* Whoever has proved to be somebody is no stranger any more, whatever they may do here. */
static void note_known(struct wp_request *request)
{
    if (request->who.roles != WP_ROLE_NONE)
        wp_door_known(request->peer);
}

static void done_admit(void *job, enum wp_status status)
{
    struct wp_request *request = job;
    note_known(request);
    request->body.admitted = status == WP_OK;
    if (status)
        wp_reply_problem(request, status, NULL);
    else
        wp_request_wake(request);
}

void wp_job_admit(struct wp_request *request)
{
    enum wp_status status = wp_db_read(request->web->options.db, run_admit, done_admit, request);
    if (status == WP_RETRY)
        wp_job_park(request, wp_job_admit);
    else if (status)
        wp_reply_problem(request, status, NULL);
}

/* ---- the request's own job ---- */

/* A job may run again: what an earlier run left is dropped. */
void wp_job_reset(struct wp_request *request)
{
    cJSON_Delete(request->out);
    request->out = NULL;
    free(request->text);
    request->text = NULL;
    memset(&request->error, 0, sizeof request->error);
}

static enum wp_status make_page(struct wp_request *request)
{
    struct wp_bytes html;
    wp_bytes_init(&html, HTML_MOST);
    enum wp_status status =
        request->route->page(request->out, &request->ask, &html, &request->error);
    if (!status)
        request->text = wp_bytes_take(&html, &request->text_size);
    wp_bytes_release(&html);
    return status;
}

/* The cookies' tokens stay out of what scripts can read, but remain in `out` for the reply. */
static char *print_without_tokens(struct wp_request *request)
{
    cJSON *session = NULL;
    cJSON *bench = NULL;
    if (request->route->flags & WP_ROUTE_COOKIES) {
        session = cJSON_DetachItemFromObjectCaseSensitive(request->out, WP_SESSION_MEMBER);
        bench = cJSON_DetachItemFromObjectCaseSensitive(request->out, WP_BENCH_MEMBER);
    }
    char *text = cJSON_PrintUnformatted(request->out);
    if (session)
        cJSON_AddItemToObject(request->out, WP_SESSION_MEMBER, session);
    if (bench)
        cJSON_AddItemToObject(request->out, WP_BENCH_MEMBER, bench);
    return text;
}

/* An answer that only clears cookies has no content. */
static bool only_clears(const cJSON *out)
{
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, out)
    {
        if (!cJSON_IsNull(item) || (strcmp(item->string, WP_SESSION_MEMBER) != 0 &&
                                    strcmp(item->string, WP_BENCH_MEMBER) != 0))
            return false;
    }
    return out->child != NULL;
}

enum wp_status wp_job_print(struct wp_request *request)
{
    if (request->route->page)
        return make_page(request);
    if (!request->out)
        return WP_OK;
    if (cJSON_IsObject(request->out) && only_clears(request->out))
        return WP_OK;
    request->text = print_without_tokens(request);
    request->text_size = request->text ? strlen(request->text) : 0;
    return request->text ? WP_OK : WP_NO_MEMORY;
}

static enum wp_status run_view(struct wp_sql *sql, void *job)
{
    struct wp_request *request = job;
    wp_job_reset(request);
    enum wp_status status = admit(request, sql, wp_clock_utc());
    if (!status)
        status = request->route->view(sql, &request->ask, &request->out, &request->error);
    return status ? status : wp_job_print(request);
}

static enum wp_status run_act(struct wp_txn *txn, void *job)
{
    struct wp_request *request = job;
    wp_job_reset(request);
    enum wp_status status = admit(request, txn->sql, txn->now);
    if (!status)
        status = request->act(txn, &request->ask, &request->out, &request->error);
    return status ? status : wp_job_print(request);
}

/* ---- noting that a session is in use ---- */

struct touch {
    unsigned char hash[WP_HASH_SIZE];
};

static enum wp_status run_touch(struct wp_txn *txn, void *job)
{
    return wp_session_touch(txn, ((struct touch *)job)->hash);
}

static void done_touch(void *job, enum wp_status status)
{
    if (status)
        wp_log(WP_LOG_DEBUG, "web", "session not touched: %s", wp_status_name(status));
    free(job);
}

/* At most once a minute for a session, so that idle sessions end and used ones do not. */
static void touch_session(struct wp_request *request)
{
    const struct wp_who *who = &request->who;
    if (who->actor != WP_ACTOR_PERSON || !who->id)
        return;
    int64_t now = wp_clock_steady();
    uint64_t key = 0;
    memcpy(&key, who->session, sizeof key);
    struct wp_touched *slot = &request->web->touched[key % WP_TOUCH_SLOTS];
    if (slot->session == key && now - slot->at_us < WP_MINUTE)
        return;
    slot->session = key;
    slot->at_us = now;
    struct touch *touch = malloc(sizeof *touch);
    if (!touch)
        return;
    memcpy(touch->hash, who->session, sizeof touch->hash);
    if (wp_db_write(request->web->options.db, run_touch, done_touch, touch))
        free(touch);
}

/* ---- starting ---- */

static void done_act(void *job, enum wp_status status)
{
    struct wp_request *request = job;
    request->status = status;
    note_known(request);
    if (!request->refused)
        touch_session(request);
    wp_reply_outcome(request);
}

static void start_act(struct wp_request *request)
{
    enum wp_status status = wp_db_write(request->web->options.db, run_act, done_act, request);
    if (status == WP_RETRY)
        wp_job_park(request, start_act);
    else if (status)
        wp_reply_problem(request, status, NULL);
}

void wp_job_act(struct wp_request *request, wp_act_fn act)
{
    request->act = act;
    start_act(request);
}

static enum wp_status run_load(struct wp_sql *sql, void *job)
{
    struct wp_request *request = job;
    wp_job_reset(request);
    int64_t now = wp_clock_utc();
    enum wp_status status = admit(request, sql, now);
    return !status && request->route->load ? request->route->load(sql, now, request) : status;
}

static void finish_job(struct wp_request *request)
{
    if (!request->status && request->route->custom)
        request->route->custom(request);
    else
        wp_reply_outcome(request);
}

static void done_note(void *job, enum wp_status status)
{
    struct wp_request *request = job;
    if (status) {
        wp_reply_problem(request, status, NULL);
        return;
    }
    wp_noted_done(request);
    finish_job(request);
}

static void start_note(struct wp_request *request)
{
    enum wp_status status =
        wp_db_write(request->web->options.db, wp_noted_write, done_note, request);
    if (status == WP_RETRY)
        wp_job_park(request, start_note);
    else if (status)
        wp_reply_problem(request, status, NULL);
}

static void done_job(void *job, enum wp_status status)
{
    struct wp_request *request = job;
    request->status = status;
    note_known(request);
    if (!request->refused)
        touch_session(request);
    if (!status && wp_noted_wanted(request))
        start_note(request);
    else
        finish_job(request);
}

void wp_job_start(struct wp_request *request)
{
    const struct wp_route *route = request->route;
    struct wp_db *db = request->web->options.db;
    enum wp_status status = WP_OK;
    if (route->custom && !route->load && route->scope == WP_SCOPE_PUBLIC)
        route->custom(request);
    else if (route->act) {
        wp_job_act(request, route->act);
        return;
    } else
        status = wp_db_read(db, route->view ? run_view : run_load, done_job, request);
    if (status == WP_RETRY)
        wp_job_park(request, wp_job_start);
    else if (status)
        wp_reply_problem(request, status, NULL);
}

/* ---- waiting for room ---- */

void wp_job_park(struct wp_request *request, void (*again)(struct wp_request *request))
{
    struct wp_web *web = request->web;
    request->again = again;
    request->next_parked = NULL;
    if (web->parked_last)
        web->parked_last->next_parked = request;
    else
        web->parked_first = request;
    web->parked_last = request;
    web->counts.parked++;
}

void wp_job_unpark(struct wp_web *web)
{
    struct wp_request *list = web->parked_first;
    web->parked_first = NULL;
    web->parked_last = NULL;
    while (list) {
        struct wp_request *next = list->next_parked;
        list->again(list);
        list = next;
    }
}
