#include "platform.h"
#include "seen.h"
#include "walk.h"
#include "watch.h"

#define BATCH 512

struct noting {
    struct wp_spool *spool;
    int64_t folder;
    bool remote;
    const struct wp_patterns *before;
    struct wp_seen seen; /* for its hash alone */
    struct wp_seen_pair pairs[BATCH];
    size_t count;
    int64_t files;
    enum wp_status status;
};

static void flush(struct noting *noting)
{
    if (noting->count && !noting->status)
        noting->status = wp_spool_mark(noting->spool, noting->folder, noting->pairs, noting->count);
    noting->count = 0;
}

static bool note(void *arg, const char *path, const struct wp_look *raw)
{
    struct noting *noting = arg;
    struct wp_look look = *raw;
    if (noting->before && wp_patterns_take(noting->before, path))
        return true;
    if (noting->remote)
        look.inode = 0;
    noting->pairs[noting->count++] = (struct wp_seen_pair){
        wp_seen_key(&noting->seen, path),
        wp_seen_mark(&noting->seen, &look),
    };
    noting->files++;
    if (noting->count == BATCH)
        flush(noting);
    return !noting->status;
}

static bool any_folder(void *arg, const char *path, const struct wp_look *look)
{
    (void)path;
    (void)look;
    return !((struct noting *)arg)->status;
}

enum wp_status wp_watch_note(struct wp_spool *spool, const struct wp_spool_folder *folder,
                             const struct wp_patterns *patterns, const struct wp_patterns *before,
                             const unsigned char secret[16], int64_t *files, struct wp_error *error)
{
    struct noting noting = {.spool = spool, .folder = folder->id, .before = before};
    struct wp_walk walk = {
        .root = folder->path,
        .patterns = patterns,
        .folder = any_folder,
        .file = note,
        .arg = &noting,
    };
    wp_seen_init(&noting.seen, secret);
    noting.remote = wp_platform_remote(folder->path);
    enum wp_status status = wp_walk(&walk, error);
    flush(&noting);
    if (!status && noting.status)
        status = wp_fail(error, noting.status, "%s", wp_spool_message(spool));
    if (!status && wp_spool_folder_ready(spool, folder->id))
        status = wp_fail(error, WP_IO, "%s", wp_spool_message(spool));
    *files = noting.files;
    return status;
}
