#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "take.h"
#include "walk.h"
#include "watch_parts.h"

#define EARLY_US INT64_C(100000)
#define EARLY_MOST_BYTES (1024 * 1024)
#define EMPTY_US INT64_C(5000000)
#define OTHER_US INT64_C(2000000)
#define FULL_RETRY_US INT64_C(5000000)
#define TROUBLE_AFTER 8
#define TROUBLE_LONGEST_US INT64_C(10000000)
#define BACKFILL_MOST_WAITING 500
/* A state older than this cannot hide a second write within one tick of the file's clock (FAT
 * counts in two seconds). */
#define TICK_NS INT64_C(3000000000)

static const char *name_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static struct candidate *find(struct wp_watch *watch, uint64_t key)
{
    for (size_t i = 0; i < watch->count; i++)
        if (watch->candidates[i].key == key)
            return &watch->candidates[i];
    return NULL;
}

static void drop(struct wp_watch *watch, struct candidate *candidate)
{
    free(candidate->path);
    *candidate = watch->candidates[--watch->count];
}

void candidates_free(struct wp_watch *watch)
{
    for (size_t i = 0; i < watch->count; i++)
        free(watch->candidates[i].path);
    watch->count = 0;
    free(watch->candidates);
}

int64_t candidates_due(const struct wp_watch *watch)
{
    int64_t due = INT64_MAX;
    for (size_t i = 0; i < watch->count; i++)
        if (watch->candidates[i].due_us < due)
            due = watch->candidates[i].due_us;
    return due;
}

void marks_flush(struct wp_watch *watch)
{
    if (!watch->mark_count)
        return;
    enum wp_status status = wp_spool_mark(watch->options.spool, watch->options.folder.id,
                                          watch->marks, watch->mark_count);
    if (status == WP_BROKEN)
        watch_broken(watch, "the files seen could not be noted");
    /* After any other failure the notes are only lost to the next start, which looks again. */
    watch->mark_count = 0;
}

void marks_add(struct wp_watch *watch, uint64_t key, uint64_t mark)
{
    if (wp_seen_put(&watch->seen, key, mark))
        return;
    watch->marks[watch->mark_count++] = (struct wp_seen_pair){key, mark};
    if (watch->mark_count == MARK_BATCH)
        marks_flush(watch);
}

static bool long_ago(const struct wp_look *look)
{
    return wp_clock_utc() * 1000 - look->mtime_ns > TICK_NS;
}

/* True if this state needs no reading: seen as it is, or only its rights or its name changed. */
static bool nothing_new(struct wp_watch *watch, uint64_t key, const struct wp_look *look, bool hint,
                        bool *fresh)
{
    const struct wp_seen_pair *pair = wp_seen_find(&watch->seen, key);
    uint64_t mark = wp_seen_mark(&watch->seen, look);
    bool exact = look->mtime_ns % 1000000000 != 0 && !watch->remote;
    *fresh = !pair;
    if (pair && pair->mark == mark)
        return !hint || long_ago(look);
    if (!long_ago(look))
        return false;
    if (pair ? !wp_seen_same_content(pair->mark, mark)
             : !exact || !wp_seen_anywhere(&watch->seen, mark))
        return false;
    marks_add(watch, key, mark);
    return true;
}

static bool came_before(const struct wp_watch *watch, const struct wp_look *look)
{
    int64_t came_ns = look->ctime_ns > look->mtime_ns ? look->ctime_ns : look->mtime_ns;
    return came_ns / 1000 < watch->options.folder.joined_us;
}

/* True if a walk may add one more: old files wait while many captures are still to be sent. */
static bool may_add(struct wp_watch *watch, bool backfill)
{
    struct wp_spool_load load;
    if (watch->from_scan >= MOST_FROM_SCAN)
        return false;
    if (!backfill)
        return true;
    wp_spool_load(watch->options.spool, &load);
    return load.waiting_backfill < BACKFILL_MOST_WAITING && load.waiting_bytes < load.limit / 2;
}

static struct candidate *add(struct wp_watch *watch, uint64_t key, const char *path)
{
    if (watch->count >= MOST_CANDIDATES)
        return NULL;
    if (!watch->candidates)
        watch->candidates = malloc(MOST_CANDIDATES * sizeof *watch->candidates);
    if (!watch->candidates)
        return NULL;
    struct candidate *candidate = &watch->candidates[watch->count];
    *candidate = (struct candidate){.key = key, .path = strdup(path)};
    if (!candidate->path)
        return NULL;
    candidate->kind = wp_kind_of(name_of(path));
    watch->count++;
    return candidate;
}

static struct wp_settle_rule rule_for(const struct wp_watch *watch,
                                      const struct candidate *candidate)
{
    struct wp_settle_rule rule = {.quiet_us = watch->options.settle_us, .empty_us = EMPTY_US};
    if (candidate->kind == WP_KIND_OTHER && rule.quiet_us < OTHER_US)
        rule.quiet_us = OTHER_US;
    if (rule.empty_us < rule.quiet_us)
        rule.empty_us = rule.quiet_us;
    /* Only a new path: an export that overwrites in place ends in the old file's ##END= until it
     * is done. */
    if (candidate->kind == WP_KIND_JCAMP && candidate->fresh)
        rule.early_us = EARLY_US;
    return rule;
}

static enum wp_settled settle(struct wp_watch *watch, struct candidate *candidate,
                              const struct wp_look *look)
{
    struct wp_settle_rule rule = rule_for(watch, candidate);
    return wp_settle_see(&candidate->settle, &rule, look, wp_clock_steady(), &candidate->due_us);
}

void candidate_see(struct wp_watch *watch, const char *path, const struct wp_look *raw, bool hint)
{
    struct wp_look look = *raw;
    bool fresh = false;
    if (wp_kind_of(name_of(path)) == WP_KIND_IGNORED)
        return;
    if (watch->remote)
        look.inode = 0;
    uint64_t key = wp_seen_key(&watch->seen, path);
    struct candidate *candidate = find(watch, key);
    if (!candidate) {
        if (nothing_new(watch, key, &look, hint, &fresh))
            return;
        bool backfill = fresh && came_before(watch, &look);
        watch->backfill_left += backfill ? 1 : 0;
        if (!hint && !may_add(watch, backfill)) {
            watch->cut = true;
            return;
        }
        candidate = add(watch, key, path);
        if (!candidate) {
            watch->cut = true;
            return;
        }
        candidate->backfill = backfill;
        candidate->fresh = fresh;
        watch->from_scan += hint ? 0 : 1;
    }
    (void)settle(watch, candidate, &look);
}

static void told(struct wp_watch *watch, struct candidate *candidate, enum wp_wire_event_kind kind,
                 const char *text)
{
    if (!candidate->told)
        watch_event(watch, kind, candidate->path, text);
    candidate->told = true;
}

/* It could not be taken now: look again later, ever more rarely. */
static void later(struct wp_watch *watch, struct candidate *candidate, const char *why)
{
    int64_t wait = watch->options.settle_us << (candidate->failures < 6 ? candidate->failures : 6);
    candidate->due_us = wp_clock_steady() + (wait < TROUBLE_LONGEST_US ? wait : TROUBLE_LONGEST_US);
    if (++candidate->failures == TROUBLE_AFTER)
        told(watch, candidate, WP_EVENT_UNREADABLE, why);
}

static void spool_full(struct wp_watch *watch, struct candidate *candidate)
{
    if (!watch->full) {
        wp_log(WP_LOG_ERROR, "agent",
               "folder %lld: the spool is full, or its disk; nothing more is taken",
               (long long)watch->options.folder.id);
        watch->options.event(
            watch->options.arg, WP_EVENT_SPOOL_FULL,
            "The spool is full, or its disk: new spectra stay in their folder until the "
            "gateway has received what waits.");
    }
    watch->full = true;
    candidate->due_us = wp_clock_steady() + FULL_RETRY_US;
}

static void taken(struct wp_watch *watch, struct candidate *candidate, uint64_t mark)
{
    (void)wp_seen_put(&watch->seen, candidate->key, mark);
    if (watch->full)
        wp_log(WP_LOG_WARN, "agent", "folder %lld: the spool has room again",
               (long long)watch->options.folder.id);
    watch->full = false;
    watch->active_us = wp_clock_steady();
    watch->options.captured(watch->options.arg);
    /* Where the file's clock is coarse, a second write in the same tick would look the same. */
    if (candidate->settle.last.mtime_ns % 1000000000 == 0 && !long_ago(&candidate->settle.last)) {
        candidate->fresh = false;
        candidate->due_us = wp_clock_steady() + TICK_NS / 1000;
        return;
    }
    drop(watch, candidate);
}

static void take_now(struct wp_watch *watch, struct candidate *candidate, const char *whole,
                     bool early)
{
    struct wp_take take = {
        .whole = whole,
        .path = candidate->path,
        .folder = watch->options.folder.id,
        .look = candidate->settle.last,
        .keep_inode = !watch->remote,
        .early = early,
        .backfill = candidate->backfill,
        .key = candidate->key,
        .mark = wp_seen_mark(&watch->seen, &candidate->settle.last),
    };
    switch (wp_take(&take, watch->options.spool)) {
    case WP_TAKEN:
        taken(watch, candidate, take.mark);
        break;
    case WP_TAKE_KNOWN:
        marks_add(watch, candidate->key, take.mark);
        drop(watch, candidate);
        break;
    case WP_TAKE_INCOMPLETE:
        break;
    case WP_TAKE_CHANGED:
        candidate->settle.begun = false;
        candidate->due_us = wp_clock_steady() + watch->options.settle_us / 4;
        break;
    case WP_TAKE_VANISHED:
        told(watch, candidate, WP_EVENT_UNREADABLE, "was gone before it could be read");
        drop(watch, candidate);
        break;
    case WP_TAKE_UNREADABLE:
        later(watch, candidate, uv_strerror(take.trouble));
        break;
    case WP_TAKE_FULL:
        spool_full(watch, candidate);
        break;
    case WP_TAKE_BROKEN:
        watch_broken(watch, wp_spool_message(watch->options.spool));
        break;
    }
}

/* Files that are never taken: they are noted, so that they are spoken of once. */
static bool only_noted(struct wp_watch *watch, struct candidate *candidate)
{
    const struct wp_look *look = &candidate->settle.last;
    bool paused = atomic_load(&watch->paused);
    bool large = look->size > watch->options.size_limit;
    if (candidate->kind != WP_KIND_OTHER && !large && !paused)
        return false;
    if (candidate->backfill && !watch->options.folder.backfill)
        ; /* was there before; nobody needs to hear of it */
    else if (paused)
        wp_log(WP_LOG_INFO, "agent", "folder %lld: paused, a new file was not taken",
               (long long)watch->options.folder.id);
    else if (candidate->kind == WP_KIND_OTHER)
        told(watch, candidate, WP_EVENT_OTHER_FILE, NULL);
    else
        told(watch, candidate, WP_EVENT_TOO_LARGE, NULL);
    marks_add(watch, candidate->key, wp_seen_mark(&watch->seen, look));
    return true;
}

static void vanished(struct wp_watch *watch, struct candidate *candidate)
{
    if (candidate->kind != WP_KIND_OTHER && candidate->settle.last.size > 0 && candidate->fresh)
        told(watch, candidate, WP_EVENT_UNREADABLE, "was gone before it had come to rest");
    drop(watch, candidate);
}

static void run_one(struct wp_watch *watch, struct candidate *candidate)
{
    char whole[WP_SPOOL_PATH];
    struct wp_look look;
    enum wp_thing thing = WP_THING_ELSE;
    int failure = watch_whole(watch, candidate->path, whole) ? wp_look_at(whole, &look, &thing)
                                                             : UV_ENAMETOOLONG;
    if (failure == UV_ENOENT || failure == UV_ENOTDIR || (!failure && thing != WP_THING_FILE)) {
        vanished(watch, candidate);
        return;
    }
    if (failure) {
        later(watch, candidate, uv_strerror(failure));
        return;
    }
    if (watch->remote)
        look.inode = 0;
    enum wp_settled settled = settle(watch, candidate, &look);
    if (settled == WP_SETTLING)
        return;
    if (settled == WP_SETTLE_EARLY && look.size > EARLY_MOST_BYTES)
        return;
    if (settled == WP_SETTLED && only_noted(watch, candidate)) {
        drop(watch, candidate);
        return;
    }
    if (settled == WP_SETTLE_EARLY && atomic_load(&watch->paused))
        return;
    take_now(watch, candidate, whole, settled == WP_SETTLE_EARLY);
}

void candidates_run(struct wp_watch *watch)
{
    int64_t now = wp_clock_steady();
    for (size_t i = watch->count; i-- > 0 && !atomic_load(&watch->stopping);)
        if (i < watch->count && watch->candidates[i].due_us <= now)
            run_one(watch, &watch->candidates[i]);
    if (!watch->count) {
        watch->from_scan = 0;
        watch->full = false;
        free(watch->candidates);
        watch->candidates = NULL;
    }
    marks_flush(watch);
}
