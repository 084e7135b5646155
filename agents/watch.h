/* watch.h - one watched folder: a thread of its own that looks, waits until files have come to
 * rest, and takes them into the spool. A share that hangs holds up no other folder and not the
 * network.
 *
 * Events of the file system are hints; a walk through the whole folder every now and then is the
 * truth. Files that were there when the folder was first seen are noted, not taken, unless
 * backfill is set.
 *
 * Thread: the functions are called from the agent's thread. The callbacks come from the folder's
 * thread and must be quick.
 */
#ifndef AGENT_WATCH_H
#define AGENT_WATCH_H

#include "pattern.h"
#include "spool.h"
#include "wire/messages.h"

struct wp_watch;

struct wp_watch_options {
    struct wp_spool *spool;
    struct wp_spool_folder folder;
    const struct wp_patterns *patterns; /* outlives the watch */
    unsigned char secret[16];           /* of the state folder, for seen.h */
    int64_t settle_us;
    int64_t size_limit;
    bool paused;
    void *arg;
    void (*captured)(void *arg);
    void (*event)(void *arg, enum wp_wire_event_kind kind, const char *text);
    void (*broken)(void *arg, const char *text); /* the agent must stop */
};

struct wp_watch_state {
    bool ok;
    char text[256];        /* why not, or what is worth knowing */
    bool stopped;          /* the spool is full */
    bool scan_only;        /* no events from this folder */
    int64_t files;         /* files of the last walk */
    int64_t settling;      /* files that have not come to rest */
    int64_t backfill_left; /* old files still to be taken, as far as seen */
};

/* NULL: no memory or no thread. `options` are copied. */
struct wp_watch *wp_watch_start(const struct wp_watch_options *options);
void wp_watch_state(struct wp_watch *watch, struct wp_watch_state *state);
/* While paused, files that come to rest are noted and not taken. */
void wp_watch_pause(struct wp_watch *watch, bool paused);
/* Stops the thread (a file being taken is finished) and frees all. NULL is harmless. */
void wp_watch_stop(struct wp_watch *watch);

/* Notes what is in the folder now, for `join`; `files` is how many. With `before` only what those
 * patterns did not take, for the rest is known or still to be taken. */
enum wp_status wp_watch_note(struct wp_spool *spool, const struct wp_spool_folder *folder,
                             const struct wp_patterns *patterns, const struct wp_patterns *before,
                             const unsigned char secret[16], int64_t *files,
                             struct wp_error *error);

#endif
