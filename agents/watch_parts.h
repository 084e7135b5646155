/* watch_parts.h - what the files of the watch share.
 *
 * watch.c runs the thread, scan.c walks and keeps the file-system watchers, candidates.c follows
 * files until they rest. All of it on the folder's thread but what `guard` protects.
 */
#ifndef WATCH_PARTS_H
#define WATCH_PARTS_H

#include <stdatomic.h>
#include <uv.h>

#include "kinds.h"
#include "seen.h"
#include "watch.h"

#define MOST_CANDIDATES 2048
#define MOST_FROM_SCAN 256
#define MOST_WATCHERS 4096
#define MARK_BATCH 512

struct candidate {
    uint64_t key;
    char *path;
    struct wp_settle settle;
    enum wp_kind kind;
    bool backfill;
    bool fresh; /* a path never seen before */
    bool told;  /* of trouble with this file */
    int64_t due_us;
    unsigned failures;
};

struct watcher {
    uv_fs_event_t event;
    struct wp_watch *watch;
    char *path;
    uint64_t key;
    uint64_t inode;
    unsigned round;
    bool closing;
};

struct wp_watch {
    struct wp_watch_options options;
    uv_thread_t thread;
    uv_loop_t loop;
    uv_timer_t timer;
    uv_async_t wake;
    atomic_bool stopping;
    atomic_bool paused;
    uv_mutex_t guard;
    struct wp_watch_state state;

    struct wp_seen seen;
    struct candidate *candidates;
    size_t count, from_scan, missed;
    struct watcher *watchers[MOST_WATCHERS];
    size_t watcher_count;
    unsigned round;
    struct wp_seen_pair marks[MARK_BATCH];
    size_t mark_count;
    int64_t scan_due_us;
    int64_t active_us; /* when something last happened */
    int64_t scan_cost_us;
    int64_t backfill_left;
    int64_t forget_due_us; /* the next pass for files that are gone */
    uint64_t *met;         /* keys of files met by this walk; NULL: no pass, or no memory for it */
    size_t met_count, met_room;
    bool remote, lost, begun, full, watching, cut;
};

/* Folder path and relative path together; false if too long. */
bool watch_whole(const struct wp_watch *watch, const char *path, char out[WP_SPOOL_PATH]);
void watch_event(struct wp_watch *watch, enum wp_wire_event_kind kind, const char *path,
                 const char *text);
void watch_broken(struct wp_watch *watch, const char *text);
/* Makes the timer fire for whatever is due next. */
void watch_plan(struct wp_watch *watch);

/* One look at a file. `hint`: the file system just spoke of it. */
void candidate_see(struct wp_watch *watch, const char *path, const struct wp_look *look, bool hint);
/* Looks again at all that are due. */
void candidates_run(struct wp_watch *watch);
int64_t candidates_due(const struct wp_watch *watch);
void candidates_free(struct wp_watch *watch);
/* Files whose mark changed without new content: noted together. */
void marks_add(struct wp_watch *watch, uint64_t key, uint64_t mark);
void marks_flush(struct wp_watch *watch);

/* Forgets files that are gone for long. A pass: begin, meet for each file of a walk, end if the
 * walk was whole; drop in any case. */
bool forget_due(const struct wp_watch *watch);
void forget_later(struct wp_watch *watch, bool first);
void forget_begin(struct wp_watch *watch);
void forget_meet(struct wp_watch *watch, uint64_t key);
void forget_end(struct wp_watch *watch);
void forget_drop(struct wp_watch *watch);

/* What others may see of the last walk. */
void scan_publish(struct wp_watch *watch, const char *trouble, int64_t files);
/* Walks the folder: sets scan_due_us. */
void scan_run(struct wp_watch *watch);
void scan_close_watchers(struct wp_watch *watch);

#endif
