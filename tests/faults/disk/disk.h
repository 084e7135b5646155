/* disk.h - a disk that fails or is watched: stands between SQLite and the files.
 *
 * disk_install makes it SQLite's default for every connection opened afterwards. Each hook (NULL:
 * none) is asked before the real call; what it returns other than SQLITE_OK is returned to SQLite
 * instead of making the call. Hooks run on whatever thread calls SQLite.
 */
#ifndef DISK_DISK_H
#define DISK_DISK_H

#include <sqlite3.h>
#include <stdint.h>

struct disk_hooks {
    int (*write)(void *arg, const char *path, const void *data, int size, int64_t at);
    int (*truncate)(void *arg, const char *path, int64_t size);
    int (*sync)(void *arg, const char *path);
    int (*remove)(void *arg, const char *path);
    void *arg;
};

/* `hooks` is borrowed until the process ends; it may be changed while no call is running. */
int disk_install(const struct disk_hooks *hooks);

#endif
