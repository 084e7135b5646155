#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "folder.h"

#define PIECE ((size_t)64 * 1024)

static ssize_t read_some(int file, void *data, size_t size)
{
    ssize_t got;
    do
        got = read(file, data, size);
    while (got < 0 && errno == EINTR);
    return got;
}

static int open_object(const struct folder_store *store, const char *name, struct stat *found)
{
    int file = openat(store->objects, name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    if (file >= 0 && fstat(file, found) != 0) {
        int cause = errno;
        (void)close(file);
        errno = cause;
        return -1;
    }
    return file;
}

bool folder_same(const struct folder_store *store, const char *name, const void *data, size_t size)
{
    struct stat found;
    char piece[4096];
    int file = open_object(store, name, &found);
    if (file < 0)
        return false;
    size_t at = 0;
    ssize_t got = found.st_size == (off_t)size ? 1 : -1;
    while (got > 0) {
        got = read_some(file, piece, sizeof piece);
        if (got > 0 &&
            ((size_t)got > size - at || memcmp(piece, (const char *)data + at, (size_t)got) != 0))
            got = -1;
        at += got > 0 ? (size_t)got : 0;
    }
    (void)close(file);
    return got == 0 && at == size;
}

static enum wp_status read_into(int file, size_t size, const char *name, struct wp_bytes *out,
                                struct wp_error *error)
{
    enum wp_status status = wp_bytes_reserve(out, size);
    if (status)
        return wp_fail(error, status, "object %s: %zu bytes are more than there is room for", name,
                       size);
    size_t at = 0;
    while (at < size) {
        ssize_t got = read_some(file, out->data + out->size + at, size - at);
        if (got < 0)
            return folder_fail(error, name);
        if (got == 0)
            return wp_fail(error, WP_IO, "object %s: the file became shorter", name);
        at += (size_t)got;
    }
    out->size += size;
    out->data[out->size] = '\0';
    return WP_OK;
}

enum wp_status folder_get(struct wp_store *base, const unsigned char digest[WP_SHA256_SIZE],
                          struct wp_bytes *out, struct wp_error *error)
{
    const struct folder_store *store = (const struct folder_store *)base;
    char name[FOLDER_NAME_ROOM];
    struct stat found;
    folder_name(digest, name);
    int file = open_object(store, name, &found);
    if (file < 0)
        return folder_fail(error, name);
    enum wp_status status = read_into(file, (size_t)found.st_size, name, out, error);
    (void)close(file);
    return status;
}

bool folder_has(struct wp_store *base, const unsigned char digest[WP_SHA256_SIZE])
{
    const struct folder_store *store = (const struct folder_store *)base;
    char name[FOLDER_NAME_ROOM];
    struct stat found;
    folder_name(digest, name);
    return fstatat(store->objects, name, &found, AT_SYMLINK_NOFOLLOW) == 0 &&
           S_ISREG(found.st_mode);
}

static enum wp_status hash_file(int file, unsigned char digest[WP_SHA256_SIZE])
{
    struct wp_sha256 *state = NULL;
    unsigned char *piece = malloc(PIECE);
    enum wp_status status = piece ? wp_sha256_begin(&state) : WP_NO_MEMORY;
    ssize_t got = 1;
    while (!status && got > 0) {
        got = read_some(file, piece, PIECE);
        status = got < 0 ? WP_IO : wp_sha256_add(state, piece, (size_t)got);
    }
    free(piece);
    if (status)
        wp_sha256_drop(state);
    else
        wp_sha256_end(state, digest);
    return status;
}

enum wp_status folder_check(struct wp_store *base, const unsigned char digest[WP_SHA256_SIZE])
{
    const struct folder_store *store = (const struct folder_store *)base;
    char name[FOLDER_NAME_ROOM];
    struct stat found;
    unsigned char real[WP_SHA256_SIZE];
    folder_name(digest, name);
    int file = open_object(store, name, &found);
    if (file < 0)
        return errno == ENOENT ? WP_NOT_FOUND : WP_IO;
    enum wp_status status = hash_file(file, real);
    (void)close(file);
    if (status)
        return status;
    return memcmp(real, digest, WP_SHA256_SIZE) == 0 ? WP_OK : WP_INVALID;
}

struct walking {
    bool (*each)(void *arg, const unsigned char digest[WP_SHA256_SIZE]);
    void *arg;
    bool stopped;
};

static DIR *open_list(int above, const char *name)
{
    int folder = openat(above, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *list = folder < 0 ? NULL : fdopendir(folder);
    if (!list && folder >= 0)
        (void)close(folder);
    return list;
}

static enum wp_status walk_group(const struct folder_store *store, const char *group,
                                 struct walking *walking)
{
    DIR *list = open_list(store->objects, group);
    if (!list)
        return errno == ENOENT ? WP_OK : WP_IO;
    const struct dirent *entry;
    unsigned char digest[WP_SHA256_SIZE];
    while (!walking->stopped && (entry = readdir(list)))
        if (memcmp(entry->d_name, group, FOLDER_GROUP) == 0 &&
            wp_hex_decode(entry->d_name, digest, WP_SHA256_SIZE))
            walking->stopped = !walking->each(walking->arg, digest);
    (void)closedir(list);
    return WP_OK;
}

enum wp_status folder_walk(struct wp_store *base,
                           bool (*each)(void *arg, const unsigned char digest[WP_SHA256_SIZE]),
                           void *arg)
{
    const struct folder_store *store = (const struct folder_store *)base;
    struct walking walking = {.each = each, .arg = arg};
    enum wp_status status = WP_OK;
    for (int i = 0; i < 256 && !status && !walking.stopped; i++) {
        unsigned char byte = (unsigned char)i;
        char group[FOLDER_GROUP + 1];
        wp_hex_encode(&byte, 1, group);
        status = walk_group(store, group, &walking);
    }
    return status;
}
