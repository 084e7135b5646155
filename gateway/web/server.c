#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/clock.h"
#include "base/log.h"
#include "listener.h"
#include "live.h"
#include "readers.h"
#include "request.h"
#include "stream.h"

#define CONNECTIONS_MOST 2048
#define MEMORY_MOST (64u * 1024 * 1024)
#define CAPTURE_MOST (256u * 1024 * 1024)
#define RETRY_MS 20
#define STOP_US (10 * WP_SECOND)
#define DISK_JOBS 4096

static void on_tick(uv_timer_t *timer)
{
    struct wp_web *web = timer->data;
    wp_listener_watch(web);
    wp_events_tick(web->events);
}

static void on_retry(uv_timer_t *timer)
{
    wp_job_unpark(timer->data);
}

static void copy_options(struct wp_web *web, const struct wp_web_options *options)
{
    web->options = *options;
    snprintf(web->folder, sizeof web->folder, "%s", options->folder);
    snprintf(web->host, sizeof web->host, "%s", options->host);
    snprintf(web->public_url, sizeof web->public_url, "%s",
             options->public_url ? options->public_url : "");
    if (!web->options.connections_most)
        web->options.connections_most = CONNECTIONS_MOST;
    if (!web->options.memory_most)
        web->options.memory_most = MEMORY_MOST;
    if (!web->options.capture_most)
        web->options.capture_most = CAPTURE_MOST;
    bool proxied = !strncmp(web->public_url, "https:", 6);
    web->strict = proxied || (options->tls && !options->tls->own);
    web->secure = options->tls || proxied;
    wp_door_init(web, web->options.connections_most);
}

static void start_timers(struct wp_web *web)
{
    uv_timer_init(web->options.loop, &web->tick);
    uv_timer_init(web->options.loop, &web->retry);
    web->tick.data = web->retry.data = web;
    web->open_handles += 2;
    uv_timer_start(&web->tick, on_tick, 1000, 1000);
    uv_timer_start(&web->retry, on_retry, RETRY_MS, RETRY_MS);
}

/* What a crash left half received was promised to nobody, and the agent sends it again. */
static void sweep_staging(const char *path)
{
    DIR *folder = opendir(path);
    for (const struct dirent *entry; folder && (entry = readdir(folder));) {
        const char *ending = strrchr(entry->d_name, '.');
        if (ending && !strcmp(ending, ".part"))
            (void)unlinkat(dirfd(folder), entry->d_name, 0);
    }
    if (folder)
        (void)closedir(folder);
}

static enum wp_status make_staging(struct wp_web *web, struct wp_error *error)
{
    char path[640];
    snprintf(path, sizeof path, "%s/staging", web->folder);
    if (mkdir(path, 0700) == 0 || errno == EEXIST) {
        sweep_staging(path);
        return WP_OK;
    }
    return wp_fail(error, WP_IO, "The staging folder could not be made: %s.", strerror(errno));
}

static enum wp_status start_parts(struct wp_web *web, struct wp_error *error)
{
    enum wp_status status = wp_router_new(wp_routes, wp_route_count, &web->router, error);
    if (!status)
        status = make_staging(web, error);
    if (status)
        return status;
    web->disk = wp_lane_new(web->options.loop, "staging", 2, DISK_JOBS);
    web->events = wp_events_new(web);
    web->readers = wp_readers_new(web->options.db);
    if (!web->disk || !web->events || !web->readers)
        return wp_fail(error, WP_NO_MEMORY, "There is no memory for the HTTP server.");
    status = wp_listener_tcp(web, &web->listeners[0], error);
    if (!status)
        status = wp_listener_control(web, &web->listeners[1], error);
    return status;
}

enum wp_status wp_web_start(const struct wp_web_options *options, struct wp_web **web,
                            struct wp_error *error)
{
    *web = NULL;
    struct wp_web *made = calloc(1, sizeof *made);
    if (!made)
        return wp_fail(error, WP_NO_MEMORY, "There is no memory for the HTTP server.");
    copy_options(made, options);
    start_timers(made);
    enum wp_status status = start_parts(made, error);
    if (status)
        wp_web_stop(made);
    else
        *web = made;
    return status;
}

unsigned wp_web_port(const struct wp_web *web)
{
    return web->port;
}

void wp_web_committed(struct wp_web *web)
{
    wp_events_look(web->events);
}

/* ---- stopping ---- */

/* A request that a lane works on, or that waits for one: its memory may not go. */
static bool in_lane(const struct wp_request *request)
{
    return request && request->busy && !request->response;
}

static bool any_left(const struct wp_web *web, bool lanes_only)
{
    for (const struct wp_peer *peer = web->peers; peer; peer = peer->next)
        if (lanes_only ? in_lane(peer->request) : peer->request != NULL)
            return true;
    return wp_events_busy(web->events);
}

/* Downloads that nobody takes any more end at their next write. */
static void let_exports_end(struct wp_web *web)
{
    while (wp_lane_load(web->options.exports) > 0)
        uv_run(web->options.loop, UV_RUN_ONCE);
}

static void on_handle_closed(uv_handle_t *handle)
{
    ((struct wp_web *)handle->data)->open_handles--;
}

/* Work under way is waited for; clients that do not take their answers only for a time. */
static void let_finish(struct wp_web *web)
{
    int64_t until = wp_clock_steady() + STOP_US;
    while (any_left(web, wp_clock_steady() > until))
        uv_run(web->options.loop, UV_RUN_ONCE);
}

/* A resting connection may not be closed: wake what rests between two pieces of its answer. */
static void wake_all(struct wp_web *web)
{
    for (struct wp_peer *peer = web->peers; peer; peer = peer->next)
        if (peer->request)
            wp_request_wake(peer->request);
}

void wp_web_stop(struct wp_web *web)
{
    if (!web)
        return;
    web->stopping = true;
    for (int i = 0; i < 2; i++)
        wp_listener_quiesce(web->listeners[i]);
    if (web->events)
        wp_events_end(web->events);
    if (web->router && web->events)
        let_finish(web);
    wake_all(web);
    wp_lane_free(web->disk);
    for (int i = 0; i < 2; i++)
        wp_listener_free(web->listeners[i]);
    let_exports_end(web);
    wp_readers_free(web->readers);
    wp_events_free(web->events);
    uv_close((uv_handle_t *)&web->tick, on_handle_closed);
    uv_close((uv_handle_t *)&web->retry, on_handle_closed);
    while (web->open_handles > 0)
        uv_run(web->options.loop, UV_RUN_ONCE);
    wp_router_free(web->router);
    free(web);
}
