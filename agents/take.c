#include "take.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <uv.h>

#include "base/clock.h"
#include "kinds.h"
#include "platform.h"

static int64_t nanoseconds(uv_timespec_t time)
{
    return (int64_t)time.tv_sec * 1000000000 + time.tv_nsec;
}

/* Looks at the open file; false if it is not as it was. */
static bool unchanged(const struct wp_take *take, int file)
{
    uv_fs_t request;
    bool same = false;
    if (!uv_fs_fstat(NULL, &request, file, NULL)) {
        const uv_stat_t *info = &request.statbuf;
        struct wp_look look = {
            .size = (int64_t)info->st_size,
            .mtime_ns = nanoseconds(info->st_mtim),
            .ctime_ns = nanoseconds(info->st_ctim),
            .inode = take->keep_inode ? info->st_ino : 0,
        };
        same = wp_look_same(&look, &take->look);
    }
    uv_fs_req_cleanup(&request);
    return same;
}

/* Reads `size` bytes and looks whether there are more. */
static enum wp_taken read_bytes(struct wp_take *take, int file, char *bytes)
{
    size_t size = (size_t)take->look.size;
    size_t have = 0;
    for (;;) {
        uv_fs_t request;
        uv_buf_t part = uv_buf_init(bytes + have, (unsigned)(size + 1 - have));
        int count = (int)uv_fs_read(NULL, &request, file, &part, 1, (int64_t)have, NULL);
        uv_fs_req_cleanup(&request);
        if (count < 0) {
            take->trouble = count;
            return WP_TAKE_UNREADABLE;
        }
        have += (size_t)count;
        if (have > size)
            return WP_TAKE_CHANGED;
        if (count == 0)
            return have == size ? WP_TAKEN : WP_TAKE_CHANGED;
    }
}

static enum wp_taken keep(struct wp_take *take, struct wp_spool *spool, const char *bytes)
{
    struct wp_spool_capture *capture = calloc(1, sizeof *capture);
    struct wp_seen_pair pair = {take->key, take->mark};
    if (!capture)
        return WP_TAKE_FULL;
    capture->folder = take->folder;
    capture->size = take->look.size;
    capture->look = take->look;
    capture->backfill = take->backfill;
    capture->captured_us = wp_clock_utc();
    capture->steady_us = wp_clock_steady();
    wp_clock_boot_id(capture->boot_id);
    (void)snprintf(capture->path, sizeof capture->path, "%s", take->path);
    enum wp_status status = wp_sha256(bytes, (size_t)take->look.size, capture->sha256);
    enum wp_taken taken = WP_TAKE_BROKEN;
    if (!status && wp_spool_known(spool, capture))
        taken = WP_TAKE_KNOWN;
    else if (!status)
        status = wp_spool_add(spool, capture, bytes, &pair);
    if (taken != WP_TAKE_KNOWN) {
        bool later = status == WP_FULL || status == WP_NO_MEMORY || status == WP_RETRY;
        taken = !status ? WP_TAKEN : later ? WP_TAKE_FULL : WP_TAKE_BROKEN;
    }
    take->number = capture->number;
    free(capture);
    return taken;
}

static enum wp_taken read_and_keep(struct wp_take *take, struct wp_spool *spool, int file)
{
    size_t size = (size_t)take->look.size;
    if (!unchanged(take, file))
        return WP_TAKE_CHANGED;
    char *bytes = malloc(size + 1);
    if (!bytes)
        return WP_TAKE_FULL;
    enum wp_taken taken = read_bytes(take, file, bytes);
    if (taken == WP_TAKEN && !unchanged(take, file))
        taken = WP_TAKE_CHANGED;
    if (taken == WP_TAKEN && take->early && !wp_jcamp_complete(bytes, size))
        taken = WP_TAKE_INCOMPLETE;
    if (taken == WP_TAKEN)
        taken = keep(take, spool, bytes);
    free(bytes);
    return taken;
}

enum wp_taken wp_take(struct wp_take *take, struct wp_spool *spool)
{
    int file = wp_platform_open(take->whole);
    if (file < 0) {
        take->trouble = uv_translate_sys_error(errno);
        return errno == ENOENT || errno == ENOTDIR ? WP_TAKE_VANISHED : WP_TAKE_UNREADABLE;
    }
    enum wp_taken taken = read_and_keep(take, spool, file);
    uv_fs_t request;
    (void)uv_fs_close(NULL, &request, file, NULL);
    uv_fs_req_cleanup(&request);
    return taken;
}
