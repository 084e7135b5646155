#include "walk.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <uv.h>

#define PATH_ROOM 4096
#define BATCH 64

static int64_t nanoseconds(uv_timespec_t time)
{
    return (int64_t)time.tv_sec * 1000000000 + time.tv_nsec;
}

int wp_look_at(const char *path, struct wp_look *look, enum wp_thing *thing)
{
    uv_fs_t request;
    int failure = uv_fs_lstat(NULL, &request, path, NULL);
    if (!failure) {
        const uv_stat_t *info = &request.statbuf;
        *look = (struct wp_look){
            .size = (int64_t)info->st_size,
            .mtime_ns = nanoseconds(info->st_mtim),
            .ctime_ns = nanoseconds(info->st_ctim),
            .inode = info->st_ino,
        };
        *thing = (info->st_mode & S_IFMT) == S_IFREG   ? WP_THING_FILE
                 : (info->st_mode & S_IFMT) == S_IFDIR ? WP_THING_FOLDER
                                                       : WP_THING_ELSE;
    }
    uv_fs_req_cleanup(&request);
    return failure;
}

static bool join(char out[PATH_ROOM], const char *folder, const char *name)
{
    const char *slash = *folder ? "/" : "";
    return (size_t)snprintf(out, PATH_ROOM, "%s%s%s", folder, slash, name) < PATH_ROOM;
}

static bool enter(struct wp_walk *walk, const char *folder, unsigned depth);

/* False ends the walk. */
static bool visit(struct wp_walk *walk, const char *folder, const char *name, unsigned depth)
{
    char path[PATH_ROOM];
    char whole[PATH_ROOM];
    struct wp_look look;
    enum wp_thing thing = WP_THING_ELSE;
    if (!join(path, folder, name) || !join(whole, walk->root, path)) {
        walk->complete = false;
        return true;
    }
    if (wp_look_at(whole, &look, &thing)) /* gone since it was listed */
        return true;
    if (thing == WP_THING_FOLDER) {
        if (!wp_patterns_enter(walk->patterns, path))
            return true;
        return walk->folder(walk->arg, path, &look) && enter(walk, path, depth + 1);
    }
    if (thing != WP_THING_FILE || !wp_patterns_take(walk->patterns, path))
        return true;
    walk->files++;
    return walk->file(walk->arg, path, &look);
}

static bool read_all(struct wp_walk *walk, uv_dir_t *dir, const char *folder, unsigned depth)
{
    uv_dirent_t entries[BATCH];
    bool going = true;
    dir->dirents = entries;
    dir->nentries = BATCH;
    while (going) {
        uv_fs_t request;
        int count = uv_fs_readdir(NULL, &request, dir, NULL);
        for (int i = 0; going && i < count; i++)
            going = visit(walk, folder, entries[i].name, depth);
        uv_fs_req_cleanup(&request);
        if (count < 0)
            walk->complete = false;
        if (count <= 0)
            break;
    }
    return going;
}

static bool enter(struct wp_walk *walk, const char *folder, unsigned depth)
{
    char whole[PATH_ROOM];
    uv_fs_t request;
    if (depth > WP_WALK_DEEPEST || !join(whole, walk->root, folder)) {
        walk->complete = false;
        return true;
    }
    int failure = uv_fs_opendir(NULL, &request, whole, NULL);
    uv_dir_t *dir = request.ptr;
    request.ptr = NULL;
    uv_fs_req_cleanup(&request);
    if (failure) {
        walk->complete = false;
        return true;
    }
    bool going = read_all(walk, dir, folder, depth);
    (void)uv_fs_closedir(NULL, &request, dir, NULL);
    uv_fs_req_cleanup(&request);
    return going;
}

enum wp_status wp_walk(struct wp_walk *walk, struct wp_error *error)
{
    struct wp_look look;
    enum wp_thing thing = WP_THING_ELSE;
    char entry[PATH_ROOM];
    uv_fs_t request;
    walk->complete = true;
    walk->files = 0;
    /* The root may be a link to the folder: "/." looks through it. */
    if (!join(entry, walk->root, "."))
        return wp_fail(error, WP_INVALID, "the folder's path is too long");
    int failure = wp_look_at(entry, &look, &thing);
    if (!failure && thing != WP_THING_FOLDER)
        failure = UV_ENOTDIR;
    if (!failure) {
        failure = uv_fs_access(NULL, &request, entry, R_OK | X_OK, NULL);
        uv_fs_req_cleanup(&request);
    }
    if (failure)
        return wp_fail(error, failure == UV_ENOENT ? WP_NOT_FOUND : WP_IO, "%s",
                       uv_strerror(failure));
    if (walk->folder(walk->arg, "", &look))
        (void)enter(walk, "", 0);
    return WP_OK;
}
