#include "platform.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/magic.h>
#include <malloc.h>
#include <pwd.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/vfs.h>
#include <unistd.h>

#define LOCK_PATH_ROOM 4200

const char *wp_platform_name(void)
{
    return "linux";
}

int wp_platform_open(const char *path)
{
    return open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
}

bool wp_platform_remote(const char *path)
{
    /* Not all of these stand in <linux/magic.h>; values from statfs(2). */
    static const unsigned long remote[] = {
        NFS_SUPER_MAGIC,  SMB_SUPER_MAGIC, SMB2_SUPER_MAGIC, CIFS_SUPER_MAGIC, AFS_FS_MAGIC,
        CODA_SUPER_MAGIC, V9FS_MAGIC,      CEPH_SUPER_MAGIC, FUSE_SUPER_MAGIC,
    };
    struct statfs info;
    if (statfs(path, &info))
        return false;
    for (size_t i = 0; i < sizeof remote / sizeof remote[0]; i++)
        if (((unsigned long)info.f_type & 0xFFFFFFFFUL) == remote[i])
            return true;
    return false;
}

bool wp_platform_passing(const char *folder)
{
    struct statfs info;
    return !statfs(folder, &info) && (info.f_type == TMPFS_MAGIC || info.f_type == RAMFS_MAGIC);
}

bool wp_platform_foreign(const char *folder, char *account, size_t room)
{
    struct stat info;
    if (stat(folder, &info) || info.st_uid == geteuid())
        return false;
    const struct passwd *entry = getpwuid(info.st_uid);
    if (entry)
        snprintf(account, room, "%s", entry->pw_name);
    else
        snprintf(account, room, "%u", (unsigned)info.st_uid);
    return true;
}

enum wp_status wp_platform_private_folder(const char *path, struct wp_error *error)
{
    struct stat info;
    if (mkdir(path, 0700) == 0)
        return WP_OK;
    if (errno != EEXIST)
        return wp_fail(error, WP_IO, "%s cannot be made: %s", path, strerror(errno));
    if (stat(path, &info) || !S_ISDIR(info.st_mode))
        return wp_fail(error, WP_IO, "%s is not a folder", path);
    if (access(path, R_OK | W_OK | X_OK))
        return wp_fail(error, WP_IO, "%s cannot be written by this account: %s", path,
                       strerror(errno));
    return WP_OK;
}

static int open_lock(const char *folder, int flags)
{
    char path[LOCK_PATH_ROOM];
    snprintf(path, sizeof path, "%s/lock", folder);
    return open(path, flags | O_CLOEXEC, 0600);
}

enum wp_status wp_platform_lock(const char *folder, struct wp_error *error)
{
    int lock = open_lock(folder, O_RDWR | O_CREAT);
    if (lock < 0)
        return wp_fail(error, WP_IO, "%s/lock: %s", folder, strerror(errno));
    if (flock(lock, LOCK_EX | LOCK_NB)) {
        close(lock);
        return wp_fail(error, WP_CONFLICT, "another agent is running with the state folder %s",
                       folder);
    }
    return WP_OK; /* the descriptor stays open for as long as the process lives */
}

bool wp_platform_locked(const char *folder)
{
    int lock = open_lock(folder, O_RDONLY);
    if (lock < 0)
        return false;
    bool locked = flock(lock, LOCK_SH | LOCK_NB) != 0;
    close(lock);
    return locked;
}

void wp_platform_outlive(void)
{
    (void)signal(SIGXFSZ, SIG_IGN);
    (void)signal(SIGPIPE, SIG_IGN);
}

void wp_platform_thrift(void)
{
    umask(077);
    (void)mallopt(M_ARENA_MAX, 1);
    (void)mallopt(M_MMAP_THRESHOLD, 64 * 1024);
    (void)mallopt(M_TRIM_THRESHOLD, 64 * 1024);
}

void wp_platform_tidy(void)
{
    (void)malloc_trim(0);
}

long long wp_platform_disk_free(const char *folder)
{
    struct statvfs info;
    return statvfs(folder, &info) ? -1 : (long long)(info.f_bavail * info.f_frsize);
}
