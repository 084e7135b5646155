#include "folder.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define TEMPORARY_ROOM 64

void folder_name(const unsigned char digest[WP_SHA256_SIZE], char name[FOLDER_NAME_ROOM])
{
    wp_hex_encode(digest, WP_SHA256_SIZE, name + FOLDER_GROUP + 1);
    memcpy(name, name + FOLDER_GROUP + 1, FOLDER_GROUP);
    name[FOLDER_GROUP] = '/';
}

enum wp_status folder_fail(struct wp_error *error, const char *name)
{
    int cause = errno;
    enum wp_status status = WP_IO;
    if (cause == ENOSPC || cause == EDQUOT || cause == EFBIG)
        status = WP_FULL;
    else if (cause == ENOENT)
        status = WP_NOT_FOUND;
    else if (cause == ENOMEM)
        status = WP_NO_MEMORY;
    return wp_fail(error, status, "object %s: %s", name, strerror(cause));
}

static bool write_all(int file, const char *data, size_t size)
{
    while (size) {
        ssize_t written = write(file, data, size);
        if (written < 0 && errno == EINTR)
            continue;
        if (written <= 0)
            return false;
        data += written;
        size -= (size_t)written;
    }
    return true;
}

/* Writes a read-only file in incoming/. */
static bool write_temporary(const struct folder_store *store, const char *name, const void *data,
                            size_t size)
{
    int file = openat(store->incoming, name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0400);
    if (file < 0)
        return false;
    bool written = write_all(file, data, size);
    int cause = errno;
    if (close(file) != 0 && written)
        return false;
    errno = cause;
    return written;
}

/* Renames into objects/, making the group's folder when it is the first one in it. */
static bool move_in(const struct folder_store *store, int from, const char *path, const char *name)
{
    if (renameat(from, path, store->objects, name) == 0)
        return true;
    if (errno != ENOENT || faccessat(from, path, F_OK, 0) != 0)
        return false;
    char group[FOLDER_GROUP + 1] = {name[0], name[1], '\0'};
    if (mkdirat(store->objects, group, 0700) != 0 && errno != EEXIST)
        return false;
    return renameat(from, path, store->objects, name) == 0;
}

static enum wp_status put(struct wp_store *base, const unsigned char digest[WP_SHA256_SIZE],
                          const void *data, size_t size, struct wp_error *error)
{
    struct folder_store *store = (struct folder_store *)base;
    char name[FOLDER_NAME_ROOM];
    char temporary[TEMPORARY_ROOM];
    folder_name(digest, name);
    if (folder_same(store, name, data, size))
        return WP_OK;
    (void)snprintf(temporary, sizeof temporary, "put-%" PRIuFAST64,
                   atomic_fetch_add(&store->counter, 1));
    if (write_temporary(store, temporary, data, size) &&
        move_in(store, store->incoming, temporary, name))
        return WP_OK;
    enum wp_status status = folder_fail(error, name);
    (void)unlinkat(store->incoming, temporary, 0);
    /* A missing file is no answer to a request to make it. */
    return status == WP_NOT_FOUND ? WP_IO : status;
}

static enum wp_status break_store(struct folder_store *store, struct wp_error *error)
{
    atomic_store(&store->broken, true);
    return wp_fail(error, WP_BROKEN, "the object store could not be synced: %s", strerror(errno));
}

static bool sync_folder(int above, const char *name)
{
    int folder = openat(above, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    bool synced = folder >= 0 && fsync(folder) == 0;
    int cause = errno;
    if (folder >= 0)
        (void)close(folder);
    errno = cause;
    return synced;
}

static enum wp_status adopt(struct wp_store *base, const unsigned char digest[WP_SHA256_SIZE],
                            const char *path, struct wp_error *error)
{
    struct folder_store *store = (struct folder_store *)base;
    char name[FOLDER_NAME_ROOM];
    folder_name(digest, name);
    if (atomic_load(&store->broken))
        return wp_fail(error, WP_BROKEN, "the object store could not be synced before");
    if (chmod(path, 0400) != 0 || !move_in(store, AT_FDCWD, path, name))
        return folder_fail(error, name);
    char group[FOLDER_GROUP + 1] = {name[0], name[1], '\0'};
    if (!sync_folder(store->objects, group) || fsync(store->objects) != 0)
        return break_store(store, error);
    return WP_OK;
}

static enum wp_status remove_object(struct wp_store *base,
                                    const unsigned char digest[WP_SHA256_SIZE],
                                    struct wp_error *error)
{
    struct folder_store *store = (struct folder_store *)base;
    char name[FOLDER_NAME_ROOM];
    folder_name(digest, name);
    if (unlinkat(store->objects, name, 0) != 0)
        return errno == ENOENT ? WP_OK : folder_fail(error, name);
    char group[FOLDER_GROUP + 1] = {name[0], name[1], '\0'};
    return sync_folder(store->objects, group) ? WP_OK : folder_fail(error, name);
}

static enum wp_status sync_all(struct wp_store *base, struct wp_error *error)
{
    struct folder_store *store = (struct folder_store *)base;
    if (atomic_load(&store->broken))
        return wp_fail(error, WP_BROKEN, "the object store could not be synced before");
    return syncfs(store->objects) == 0 ? WP_OK : break_store(store, error);
}

static void free_store(struct wp_store *base)
{
    struct folder_store *store = (struct folder_store *)base;
    if (!store)
        return;
    if (store->incoming >= 0)
        (void)close(store->incoming);
    if (store->objects >= 0)
        (void)close(store->objects);
    free(store);
}

static const struct wp_store_ops folder_ops = {
    .put = put,
    .adopt = adopt,
    .sync = sync_all,
    .remove = remove_object,
    .get = folder_get,
    .has = folder_has,
    .check = folder_check,
    .walk = folder_walk,
    .free = free_store,
};

/* Opens a folder below the data folder, making it if it is missing. -1 with errno. */
static int open_folder(int above, const char *name)
{
    if (mkdirat(above, name, 0700) != 0 && errno != EEXIST)
        return -1;
    return openat(above, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
}

/* What lies in incoming/ at the start was never promised to anybody. */
static bool sweep(int incoming)
{
    int copy = dup(incoming);
    DIR *folder = copy < 0 ? NULL : fdopendir(copy);
    if (!folder) {
        if (copy >= 0)
            (void)close(copy);
        return false;
    }
    const struct dirent *entry;
    while ((entry = readdir(folder)))
        if (entry->d_name[0] != '.')
            (void)unlinkat(incoming, entry->d_name, 0);
    (void)closedir(folder);
    return true;
}

static bool open_parts(struct folder_store *store, const char *path, bool own)
{
    int above = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (above < 0)
        return false;
    store->incoming = open_folder(above, "incoming");
    store->objects = open_folder(above, "objects");
    bool opened = store->incoming >= 0 && store->objects >= 0 && fsync(above) == 0;
    int cause = errno;
    (void)close(above);
    errno = cause;
    return opened && (!own || sweep(store->incoming));
}

static enum wp_status open_store(const char *folder, bool own, struct wp_store **store,
                                 struct wp_error *error)
{
    *store = NULL;
    struct folder_store *opened = calloc(1, sizeof *opened);
    if (!opened)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the object store");
    *opened = (struct folder_store){.base.ops = &folder_ops, .incoming = -1, .objects = -1};
    if (!open_parts(opened, folder, own)) {
        enum wp_status status =
            wp_fail(error, WP_IO, "the object store in %s: %s", folder, strerror(errno));
        free_store(&opened->base);
        return status;
    }
    *store = &opened->base;
    return WP_OK;
}

enum wp_status wp_store_open_folder(const char *folder, struct wp_store **store,
                                    struct wp_error *error)
{
    return open_store(folder, true, store, error);
}

enum wp_status wp_store_look_at(const char *folder, struct wp_store **store, struct wp_error *error)
{
    return open_store(folder, false, store, error);
}
