#include "fault.h"

#include <sqlite3.h>
#include <stdatomic.h>
#include <sys/mman.h>

#include "disk.h"

struct count {
    _Atomic int kind;
    atomic_long left;
    atomic_bool met;
};

static struct count *count;
static sqlite3_mem_methods memory;

static bool fails(enum fault_kind kind)
{
    if (atomic_load(&count->kind) != (int)kind || atomic_fetch_sub(&count->left, 1) != 1)
        return false;
    atomic_store(&count->met, true);
    return true;
}

static int on_write(void *arg, const char *path, const void *data, int size, int64_t at)
{
    (void)arg;
    (void)path;
    (void)data;
    (void)at;
    return fails(FAULT_DISK) ? (size % 2 ? SQLITE_IOERR_WRITE : SQLITE_FULL) : SQLITE_OK;
}

static int on_truncate(void *arg, const char *path, int64_t size)
{
    (void)arg;
    (void)path;
    (void)size;
    return fails(FAULT_DISK) ? SQLITE_IOERR_TRUNCATE : SQLITE_OK;
}

static int on_sync(void *arg, const char *path)
{
    (void)arg;
    (void)path;
    return fails(FAULT_DISK) ? SQLITE_IOERR_FSYNC : SQLITE_OK;
}

static int on_remove(void *arg, const char *path)
{
    (void)arg;
    (void)path;
    return fails(FAULT_DISK) ? SQLITE_IOERR_DELETE : SQLITE_OK;
}

static void *on_malloc(int size)
{
    return fails(FAULT_MEMORY) ? NULL : memory.xMalloc(size);
}

static void *on_realloc(void *old, int size)
{
    return fails(FAULT_MEMORY) ? NULL : memory.xRealloc(old, size);
}

bool fault_install(void)
{
    static const struct disk_hooks hooks = {
        .write = on_write, .truncate = on_truncate, .sync = on_sync, .remove = on_remove};
    void *shared =
        mmap(NULL, sizeof *count, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (shared == MAP_FAILED)
        return false;
    count = shared;
    if (sqlite3_config(SQLITE_CONFIG_GETMALLOC, &memory) != SQLITE_OK)
        return false;
    sqlite3_mem_methods counted = memory;
    counted.xMalloc = on_malloc;
    counted.xRealloc = on_realloc;
    return sqlite3_config(SQLITE_CONFIG_MALLOC, &counted) == SQLITE_OK &&
           disk_install(&hooks) == SQLITE_OK;
}

void fault_arm(enum fault_kind kind, long n)
{
    atomic_store(&count->left, n);
    atomic_store(&count->met, false);
    atomic_store(&count->kind, (int)kind);
}

bool fault_met(void)
{
    return atomic_load(&count->met);
}

static struct wp_store *real_store;

static enum wp_status put(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          const void *data, size_t size, struct wp_error *error)
{
    (void)store;
    if (fails(FAULT_STORE))
        return wp_fail(error, WP_FULL, "The store is made to be full.");
    return real_store->ops->put(real_store, digest, data, size, error);
}

static enum wp_status sync_store(struct wp_store *store, struct wp_error *error)
{
    (void)store;
    if (fails(FAULT_STORE))
        return wp_fail(error, WP_BROKEN, "The store's sync is made to fail.");
    return real_store->ops->sync(real_store, error);
}

static enum wp_status get(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          struct wp_bytes *out, struct wp_error *error)
{
    (void)store;
    return real_store->ops->get(real_store, digest, out, error);
}

static bool has(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE])
{
    (void)store;
    return real_store->ops->has(real_store, digest);
}

static enum wp_status check(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE])
{
    (void)store;
    return real_store->ops->check(real_store, digest);
}

static void free_store(struct wp_store *store)
{
    (void)store;
    real_store->ops->free(real_store);
}

struct wp_store *fault_store(struct wp_store *inner)
{
    static const struct wp_store_ops ops = {
        .put = put, .sync = sync_store, .get = get, .has = has, .check = check, .free = free_store};
    static struct wp_store counted = {.ops = &ops};
    real_store = inner;
    return &counted;
}
