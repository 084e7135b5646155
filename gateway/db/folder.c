#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "parts.h"

/* A new folder is durable only when the folder above it has been synced. */
static enum wp_status sync_folder(const char *path, struct wp_error *error)
{
    int folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    int failed = folder < 0 || fsync(folder) != 0;
    int cause = errno;
    if (folder >= 0)
        (void)close(folder);
    return failed ? wp_fail(error, WP_IO, "%s: %s", path, strerror(cause)) : WP_OK;
}

static enum wp_status make_folder(const char *path, struct wp_error *error)
{
    if (mkdir(path, 0700) != 0) {
        struct stat found;
        if (errno == EEXIST && stat(path, &found) == 0 && S_ISDIR(found.st_mode))
            return WP_OK;
        return wp_fail(error, WP_IO, "the data folder %s: %s", path, strerror(errno));
    }
    char above[PATH_MAX];
    (void)snprintf(above, sizeof above, "%s", path);
    return sync_folder(dirname(above), error);
}

/* Leaves the holder's process number in the file, for the person who meets the lock. */
static void write_holder(int file)
{
    char text[24];
    int length = snprintf(text, sizeof text, "%ld\n", (long)getpid());
    if (length > 0 && ftruncate(file, 0) == 0) {
        ssize_t written = pwrite(file, text, (size_t)length, 0);
        (void)written;
    }
}

static int refuse(int file, const char *folder, struct wp_error *error)
{
    if (errno == EWOULDBLOCK) {
        char text[24] = "";
        ssize_t size = pread(file, text, sizeof text - 1, 0);
        text[size > 0 ? strcspn(text, "\n") : 0] = '\0';
        (void)wp_fail(error, WP_CONFLICT, "the data folder %s is in use by process %s", folder,
                      *text ? text : "(unknown)");
    } else {
        (void)wp_fail(error, WP_IO, "the lock of %s: %s", folder, strerror(errno));
    }
    (void)close(file);
    return -1;
}

int db_lock_folder(const char *folder, struct wp_error *error)
{
    if (make_folder(folder, error))
        return -1;
    char path[PATH_MAX];
    if (snprintf(path, sizeof path, "%s/lock", folder) >= (int)sizeof path) {
        (void)wp_fail(error, WP_TOO_LARGE, "the data folder's path is too long");
        return -1;
    }
    int file = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (file < 0) {
        (void)wp_fail(error, WP_IO, "%s: %s", path, strerror(errno));
        return -1;
    }
    if (flock(file, LOCK_EX | LOCK_NB) != 0)
        return refuse(file, folder, error);
    write_holder(file);
    return file;
}
