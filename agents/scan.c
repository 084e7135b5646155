#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "platform.h"
#include "walk.h"
#include "watch_parts.h"

/* With events the walk only finds what they missed; without, it finds everything. */
#define EVERY_US (15 * WP_SECOND)
#define EVERY_REMOTE_US (4 * WP_SECOND)
#define EVERY_ACTIVE_US (1 * WP_SECOND)
#define ACTIVE_US (10 * WP_MINUTE)
#define EVERY_LOST_US (4 * WP_SECOND)
#define SOON_US (WP_SECOND / 20)
#define CUT_US (WP_SECOND / 2)
/* A walk may take this part of the time at most. */
#define COST_PART 50
/* A file that changed so long ago and was not spoken of: its event was lost. */
#define MISSED_US (3 * WP_SECOND)

static void watcher_closed(uv_handle_t *handle)
{
    struct watcher *watcher = handle->data;
    free(watcher->path);
    free(watcher);
}

static void close_watcher(struct wp_watch *watch, size_t at)
{
    struct watcher *watcher = watch->watchers[at];
    watch->watchers[at] = watch->watchers[--watch->watcher_count];
    watcher->closing = true;
    uv_close((uv_handle_t *)&watcher->event, watcher_closed);
}

void scan_close_watchers(struct wp_watch *watch)
{
    while (watch->watcher_count)
        close_watcher(watch, 0);
}

static void scan_soon(struct wp_watch *watch)
{
    int64_t soon = wp_clock_steady() + SOON_US + watch->scan_cost_us;
    if (watch->scan_due_us > soon)
        watch->scan_due_us = soon;
}

static struct watcher *watcher_for(struct wp_watch *watch, uint64_t key, size_t *at)
{
    for (*at = 0; *at < watch->watcher_count; (*at)++)
        if (watch->watchers[*at]->key == key)
            return watch->watchers[*at];
    return NULL;
}

/* True if the name that an event gives is that of a folder we watch: one below, or itself. */
static bool of_folder(struct wp_watch *watch, const struct watcher *watcher, const char *path,
                      const char *name)
{
    size_t at = 0;
    const char *own = *watcher->path ? watcher->path : watch->options.folder.path;
    const char *slash = strrchr(own, '/');
    return !strcmp(name, slash ? slash + 1 : own) ||
           watcher_for(watch, wp_seen_key(&watch->seen, path), &at);
}

static void hint(uv_fs_event_t *event, const char *name, int events, int status)
{
    struct watcher *watcher = event->data;
    struct wp_watch *watch = watcher->watch;
    char path[WP_SPOOL_PATH];
    char whole[WP_SPOOL_PATH];
    struct wp_look look;
    enum wp_thing thing = WP_THING_ELSE;
    (void)events;
    if (watcher->closing)
        return;
    const char *slash = *watcher->path ? "/" : "";
    int length = name ? snprintf(path, sizeof path, "%s%s%s", watcher->path, slash, name) : -1;
    bool unclear =
        status || length < 0 || (size_t)length >= sizeof path || !watch_whole(watch, path, whole);
    bool gone = !unclear && wp_look_at(whole, &look, &thing) != 0;
    if (unclear || thing == WP_THING_FOLDER || (gone && of_folder(watch, watcher, path, name)))
        scan_soon(watch);
    else if (thing == WP_THING_FILE && watch->begun &&
             wp_patterns_take(watch->options.patterns, path))
        candidate_see(watch, path, &look, true);
    watch_plan(watch);
}

static void add_watcher(struct wp_watch *watch, const char *path, uint64_t key, uint64_t inode)
{
    char whole[WP_SPOOL_PATH];
    if (watch->watcher_count >= MOST_WATCHERS || !watch_whole(watch, path, whole))
        return;
    struct watcher *watcher = calloc(1, sizeof *watcher);
    if (!watcher)
        return;
    watcher->path = strdup(path);
    if (!watcher->path || uv_fs_event_init(&watch->loop, &watcher->event)) {
        free(watcher->path);
        free(watcher);
        return;
    }
    watcher->event.data = watcher;
    watcher->watch = watch;
    watcher->key = key;
    watcher->inode = inode;
    watcher->round = watch->round;
    watch->watchers[watch->watcher_count++] = watcher;
    int failure = uv_fs_event_start(&watcher->event, hint, whole, 0);
    if (!failure)
        return;
    if (watch->watching)
        wp_log(WP_LOG_WARN, "agent", "folder %lld: no events (%s); walking more often",
               (long long)watch->options.folder.id, uv_strerror(failure));
    watch->watching = false;
    close_watcher(watch, watch->watcher_count - 1);
}

static bool see_folder(void *arg, const char *path, const struct wp_look *look)
{
    struct wp_watch *watch = arg;
    size_t at = 0;
    if (watch->remote)
        return !atomic_load(&watch->stopping);
    uint64_t key = wp_seen_key(&watch->seen, path);
    struct watcher *watcher = watcher_for(watch, key, &at);
    if (watcher && watcher->inode != look->inode) { /* another folder of the same name */
        close_watcher(watch, at);
        watcher = NULL;
    }
    if (watcher)
        watcher->round = watch->round;
    else
        add_watcher(watch, path, key, look->inode);
    return !atomic_load(&watch->stopping);
}

/* True if events should have spoken of this file and did not. */
static bool missed(const struct wp_watch *watch, const char *path, const struct wp_look *look)
{
    uint64_t key = wp_seen_key(&watch->seen, path);
    const struct wp_seen_pair *pair = wp_seen_find(&watch->seen, key);
    int64_t newest = look->ctime_ns > look->mtime_ns ? look->ctime_ns : look->mtime_ns;
    if (wp_clock_utc() - newest / 1000 < MISSED_US ||
        (pair && wp_seen_same_content(pair->mark, wp_seen_mark(&watch->seen, look))))
        return false;
    for (size_t i = 0; i < watch->count; i++)
        if (watch->candidates[i].key == key)
            return false;
    const char *slash = strrchr(path, '/');
    return wp_kind_of(slash ? slash + 1 : path) != WP_KIND_IGNORED;
}

static bool see_file(void *arg, const char *path, const struct wp_look *look)
{
    struct wp_watch *watch = arg;
    bool lost_hint = watch->begun && !watch->remote && watch->watching && !watch->lost &&
                     !watch->cut && !watch->backfill_left && missed(watch, path, look);
    size_t before = watch->count;
    if (watch->met)
        forget_meet(watch, wp_seen_key(&watch->seen, path));
    candidate_see(watch, path, look, false);
    if (lost_hint && watch->count > before)
        watch->missed++;
    return !atomic_load(&watch->stopping);
}

/* The first walk of a folder that was not there when the agent joined. */
static bool note_file(void *arg, const char *path, const struct wp_look *raw)
{
    struct wp_watch *watch = arg;
    struct wp_look look = *raw;
    int64_t came_ns = look.ctime_ns > look.mtime_ns ? look.ctime_ns : look.mtime_ns;
    if (watch->remote)
        look.inode = 0;
    if (came_ns / 1000 < watch->options.folder.joined_us)
        marks_add(watch, wp_seen_key(&watch->seen, path), wp_seen_mark(&watch->seen, &look));
    return !atomic_load(&watch->stopping);
}

static bool no_folder(void *arg, const char *path, const struct wp_look *look)
{
    (void)path;
    (void)look;
    return !atomic_load(&((struct wp_watch *)arg)->stopping);
}

static void folder_lost(struct wp_watch *watch, const char *why)
{
    if (!watch->lost) {
        wp_log(WP_LOG_ERROR, "agent", "folder %lld cannot be read: %s",
               (long long)watch->options.folder.id, why);
        watch->options.event(watch->options.arg, WP_EVENT_FOLDER_LOST, watch->options.folder.path);
    }
    watch->lost = true;
    scan_close_watchers(watch);
}

static void folder_found(struct wp_watch *watch)
{
    watch->remote = wp_platform_remote(watch->options.folder.path);
    if (watch->lost) {
        wp_log(WP_LOG_INFO, "agent", "folder %lld is back", (long long)watch->options.folder.id);
        watch->options.event(watch->options.arg, WP_EVENT_FOLDER_BACK, watch->options.folder.path);
    }
}

static void forget_old_watchers(struct wp_watch *watch, bool complete)
{
    for (size_t i = watch->watcher_count; complete && i-- > 0;)
        if (watch->watchers[i]->round != watch->round)
            close_watcher(watch, i);
}

static int64_t next_scan(const struct wp_watch *watch, int64_t now)
{
    bool blind = watch->remote || !watch->watching;
    int64_t every = blind ? EVERY_REMOTE_US : EVERY_US;
    if (blind && watch->active_us && now - watch->active_us < ACTIVE_US)
        every = EVERY_ACTIVE_US;
    if (watch->lost)
        every = EVERY_LOST_US;
    if (watch->cut)
        every = CUT_US;
    if (every < watch->scan_cost_us * COST_PART && !watch->cut)
        every = watch->scan_cost_us * COST_PART;
    return now + every;
}

static void note_overflow(struct wp_watch *watch)
{
    if (!watch->missed)
        return;
    wp_log(WP_LOG_WARN, "agent", "folder %lld: %zu files came without an event; found by walking",
           (long long)watch->options.folder.id, watch->missed);
    watch->options.event(watch->options.arg, WP_EVENT_OVERFLOW, watch->options.folder.path);
    watch->missed = 0;
}

static enum wp_status first_walk(struct wp_watch *watch, struct wp_error *error)
{
    struct wp_walk walk = {
        .root = watch->options.folder.path,
        .patterns = watch->options.patterns,
        .folder = no_folder,
        .file = note_file,
        .arg = watch,
    };
    enum wp_status status = wp_walk(&walk, error);
    if (status || atomic_load(&watch->stopping))
        return status;
    marks_flush(watch);
    status = wp_spool_folder_ready(watch->options.spool, watch->options.folder.id);
    watch->options.folder.ready = !status;
    return status;
}

void scan_run(struct wp_watch *watch)
{
    struct wp_error error;
    struct wp_walk walk = {
        .root = watch->options.folder.path,
        .patterns = watch->options.patterns,
        .folder = see_folder,
        .file = see_file,
        .arg = watch,
    };
    int64_t before = wp_clock_steady();
    watch->round++;
    watch->cut = false;
    watch->watching = true;
    watch->backfill_left = 0;
    if (forget_due(watch))
        forget_begin(watch);
    enum wp_status status = WP_OK;
    if (!watch->options.folder.ready && !watch->options.folder.backfill)
        status = first_walk(watch, &error);
    if (!status) {
        folder_found(watch);
        status = wp_walk(&walk, &error);
    }
    if (status) {
        folder_lost(watch, error.text);
    } else {
        watch->lost = false;
        watch->begun = true;
        forget_old_watchers(watch, walk.complete);
        note_overflow(watch);
        if (walk.complete && !watch->cut && !atomic_load(&watch->stopping))
            forget_end(watch);
    }
    if (watch->met)
        forget_later(watch, false);
    forget_drop(watch);
    marks_flush(watch);
    int64_t now = wp_clock_steady();
    watch->scan_cost_us = now - before;
    watch->scan_due_us = next_scan(watch, now);
    scan_publish(watch, status ? error.text : "", (int64_t)walk.files);
    wp_platform_tidy();
}
