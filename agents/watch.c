#include "watch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "walk.h"
#include "watch_parts.h"

#define THREAD_STACK (1024 * 1024)

bool watch_whole(const struct wp_watch *watch, const char *path, char out[WP_SPOOL_PATH])
{
    return (size_t)snprintf(out, WP_SPOOL_PATH, "%s/%s", watch->options.folder.path, path) <
           WP_SPOOL_PATH;
}

void watch_event(struct wp_watch *watch, enum wp_wire_event_kind kind, const char *path,
                 const char *text)
{
    char clean[WP_WIRE_TEXT];
    char said[WP_WIRE_TEXT * 2];
    wp_text_clean(path, strlen(path), clean, sizeof clean);
    (void)snprintf(said, sizeof said, "%s%s%s", clean, text ? ": " : "", text ? text : "");
    watch->options.event(watch->options.arg, kind, said);
}

void watch_broken(struct wp_watch *watch, const char *text)
{
    watch->options.broken(watch->options.arg, text);
}

void scan_publish(struct wp_watch *watch, const char *trouble, int64_t files)
{
    uv_mutex_lock(&watch->guard);
    watch->state.ok = !*trouble;
    (void)snprintf(watch->state.text, sizeof watch->state.text, "%s", trouble);
    watch->state.scan_only = watch->remote || !watch->watching;
    watch->state.files = files;
    watch->state.settling = (int64_t)watch->count;
    watch->state.stopped = watch->full;
    watch->state.backfill_left = watch->backfill_left;
    uv_mutex_unlock(&watch->guard);
}

static void publish_load(struct wp_watch *watch)
{
    uv_mutex_lock(&watch->guard);
    watch->state.settling = (int64_t)watch->count;
    watch->state.stopped = watch->full;
    uv_mutex_unlock(&watch->guard);
}

static void due(uv_timer_t *timer)
{
    struct wp_watch *watch = timer->data;
    if (watch->begun)
        candidates_run(watch);
    if (!atomic_load(&watch->stopping) && wp_clock_steady() >= watch->scan_due_us)
        scan_run(watch);
    publish_load(watch);
    watch_plan(watch);
}

void watch_plan(struct wp_watch *watch)
{
    int64_t next = candidates_due(watch);
    if (watch->scan_due_us < next)
        next = watch->scan_due_us;
    int64_t wait = next - wp_clock_steady();
    if (!atomic_load(&watch->stopping)) {
        uv_update_time(&watch->loop);
        (void)uv_timer_start(&watch->timer, due, wait > 0 ? (uint64_t)(wait + 999) / 1000 : 0, 0);
    }
}

static void close_all(uv_handle_t *handle, void *arg)
{
    (void)arg;
    if (!uv_is_closing(handle))
        uv_close(handle, NULL);
}

static void woken(uv_async_t *async)
{
    struct wp_watch *watch = async->data;
    if (!atomic_load(&watch->stopping))
        return;
    scan_close_watchers(watch);
    uv_walk(&watch->loop, close_all, NULL);
}

static bool load_seen(void *arg, uint64_t key, uint64_t mark)
{
    return wp_seen_put(arg, key, mark) == WP_OK;
}

static void run(void *arg)
{
    struct wp_watch *watch = arg;
    enum wp_status status =
        wp_spool_each_seen(watch->options.spool, watch->options.folder.id, load_seen, &watch->seen);
    if (status)
        watch_broken(watch, "the files seen could not be read from the spool");
    watch_plan(watch);
    (void)uv_run(&watch->loop, UV_RUN_DEFAULT);
    candidates_free(watch);
}

static void release(struct wp_watch *watch)
{
    wp_seen_release(&watch->seen);
    (void)uv_loop_close(&watch->loop);
    uv_mutex_destroy(&watch->guard);
    free(watch);
}

static bool prepare(struct wp_watch *watch)
{
    if (uv_loop_init(&watch->loop))
        return false;
    if (uv_mutex_init(&watch->guard)) {
        (void)uv_loop_close(&watch->loop);
        return false;
    }
    (void)uv_timer_init(&watch->loop, &watch->timer);
    watch->timer.data = watch;
    watch->wake.data = watch;
    return uv_async_init(&watch->loop, &watch->wake, woken) == 0;
}

struct wp_watch *wp_watch_start(const struct wp_watch_options *options)
{
    uv_thread_options_t thread = {.flags = UV_THREAD_HAS_STACK_SIZE, .stack_size = THREAD_STACK};
    struct wp_watch *watch = calloc(1, sizeof *watch);
    if (!watch)
        return NULL;
    watch->options = *options;
    atomic_init(&watch->paused, options->paused);
    atomic_init(&watch->stopping, false);
    wp_seen_init(&watch->seen, options->secret);
    if (!prepare(watch)) {
        free(watch);
        return NULL;
    }
    watch->scan_due_us = wp_clock_steady();
    forget_later(watch, true);
    if (uv_thread_create_ex(&watch->thread, &thread, run, watch)) {
        uv_walk(&watch->loop, close_all, NULL);
        (void)uv_run(&watch->loop, UV_RUN_DEFAULT);
        release(watch);
        return NULL;
    }
    return watch;
}

void wp_watch_state(struct wp_watch *watch, struct wp_watch_state *state)
{
    uv_mutex_lock(&watch->guard);
    *state = watch->state;
    uv_mutex_unlock(&watch->guard);
}

void wp_watch_pause(struct wp_watch *watch, bool paused)
{
    atomic_store(&watch->paused, paused);
}

void wp_watch_stop(struct wp_watch *watch)
{
    if (!watch)
        return;
    atomic_store(&watch->stopping, true);
    (void)uv_async_send(&watch->wake);
    (void)uv_thread_join(&watch->thread);
    release(watch);
}
