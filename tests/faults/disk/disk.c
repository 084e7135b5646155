#include "disk.h"

#include <string.h>

static const struct disk_hooks *hooks;
static sqlite3_vfs *real;

struct file {
    sqlite3_file base;
    const char *path; /* SQLite keeps it as long as the file is open */
    sqlite3_file inner[];
};

static sqlite3_file *inner(sqlite3_file *file)
{
    return ((struct file *)file)->inner;
}

static const char *path_of(sqlite3_file *file)
{
    const char *path = ((struct file *)file)->path;
    return path ? path : "";
}

static int close_file(sqlite3_file *file)
{
    return inner(file)->pMethods ? inner(file)->pMethods->xClose(inner(file)) : SQLITE_OK;
}

static int read_file(sqlite3_file *file, void *data, int size, sqlite3_int64 at)
{
    return inner(file)->pMethods->xRead(inner(file), data, size, at);
}

static int write_file(sqlite3_file *file, const void *data, int size, sqlite3_int64 at)
{
    int code = hooks->write ? hooks->write(hooks->arg, path_of(file), data, size, at) : SQLITE_OK;
    return code ? code : inner(file)->pMethods->xWrite(inner(file), data, size, at);
}

static int truncate_file(sqlite3_file *file, sqlite3_int64 size)
{
    int code = hooks->truncate ? hooks->truncate(hooks->arg, path_of(file), size) : SQLITE_OK;
    return code ? code : inner(file)->pMethods->xTruncate(inner(file), size);
}

static int sync_file(sqlite3_file *file, int flags)
{
    int code = hooks->sync ? hooks->sync(hooks->arg, path_of(file)) : SQLITE_OK;
    return code ? code : inner(file)->pMethods->xSync(inner(file), flags);
}

static int size_file(sqlite3_file *file, sqlite3_int64 *size)
{
    return inner(file)->pMethods->xFileSize(inner(file), size);
}

static int lock_file(sqlite3_file *file, int lock)
{
    return inner(file)->pMethods->xLock(inner(file), lock);
}

static int unlock_file(sqlite3_file *file, int lock)
{
    return inner(file)->pMethods->xUnlock(inner(file), lock);
}

static int reserved(sqlite3_file *file, int *held)
{
    return inner(file)->pMethods->xCheckReservedLock(inner(file), held);
}

static int control(sqlite3_file *file, int operation, void *arg)
{
    return inner(file)->pMethods->xFileControl(inner(file), operation, arg);
}

static int sector(sqlite3_file *file)
{
    return inner(file)->pMethods->xSectorSize(inner(file));
}

static int traits(sqlite3_file *file)
{
    return inner(file)->pMethods->xDeviceCharacteristics(inner(file));
}

static int shm_map(sqlite3_file *file, int page, int size, int extend, void volatile **memory)
{
    return inner(file)->pMethods->xShmMap(inner(file), page, size, extend, memory);
}

static int shm_lock(sqlite3_file *file, int offset, int count, int flags)
{
    return inner(file)->pMethods->xShmLock(inner(file), offset, count, flags);
}

static void shm_barrier(sqlite3_file *file)
{
    inner(file)->pMethods->xShmBarrier(inner(file));
}

static int shm_unmap(sqlite3_file *file, int remove)
{
    return inner(file)->pMethods->xShmUnmap(inner(file), remove);
}

static const sqlite3_io_methods methods = {
    .iVersion = 2,
    .xClose = close_file,
    .xRead = read_file,
    .xWrite = write_file,
    .xTruncate = truncate_file,
    .xSync = sync_file,
    .xFileSize = size_file,
    .xLock = lock_file,
    .xUnlock = unlock_file,
    .xCheckReservedLock = reserved,
    .xFileControl = control,
    .xSectorSize = sector,
    .xDeviceCharacteristics = traits,
    .xShmMap = shm_map,
    .xShmLock = shm_lock,
    .xShmBarrier = shm_barrier,
    .xShmUnmap = shm_unmap,
};

static int open_file(sqlite3_vfs *vfs, const char *path, sqlite3_file *file, int flags, int *given)
{
    (void)vfs;
    struct file *opened = (struct file *)file;
    opened->path = path;
    opened->base.pMethods = NULL;
    int code = real->xOpen(real, path, inner(file), flags, given);
    if (code == SQLITE_OK)
        opened->base.pMethods = &methods;
    return code;
}

static int remove_file(sqlite3_vfs *vfs, const char *path, int sync_folder)
{
    (void)vfs;
    int code = hooks->remove ? hooks->remove(hooks->arg, path) : SQLITE_OK;
    return code ? code : real->xDelete(real, path, sync_folder);
}

int disk_install(const struct disk_hooks *asked)
{
    static sqlite3_vfs vfs;
    hooks = asked;
    if (real)
        return SQLITE_OK;
    real = sqlite3_vfs_find(NULL);
    /* What is not listed here goes to the real one: its functions take `vfs` only for its data. */
    vfs = *real;
    vfs.zName = "test-disk";
    vfs.szOsFile = (int)sizeof(struct file) + real->szOsFile;
    vfs.xOpen = open_file;
    vfs.xDelete = remove_file;
    return sqlite3_vfs_register(&vfs, 1);
}
