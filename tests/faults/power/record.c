#include "record.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "disk.h"

#define STEPS_MOST 200000

static pthread_mutex_t mutex = PTHREAD_MUTEX_INITIALIZER;
static struct step *steps;
static size_t count;
static bool recording;
static char prefix[128];
static const char *database;

static void add(const struct step *filled, const void *data)
{
    (void)pthread_mutex_lock(&mutex);
    if (recording) {
        if (count == STEPS_MOST)
            abort();
        steps[count] = *filled;
        if (data) {
            steps[count].data = malloc(filled->size + 1);
            if (!steps[count].data)
                abort();
            memcpy(steps[count].data, data, filled->size);
        }
        count++;
    }
    (void)pthread_mutex_unlock(&mutex);
}

/* FILES: not one of ours (the index in shared memory is never written through SQLite's files). */
static int file_of(const char *path)
{
    size_t length = strlen(prefix);
    if (strncmp(path, prefix, length) != 0)
        return FILES;
    size_t own = strlen(database);
    if (strncmp(path + length, database, own) != 0)
        return FILES;
    if (!path[length + own])
        return FILE_DATABASE;
    return strcmp(path + length + own, "-wal") == 0 ? FILE_LOG : FILES;
}

static int on_write(void *arg, const char *path, const void *data, int size, int64_t at)
{
    (void)arg;
    struct step step = {.kind = STEP_WRITE, .file = file_of(path), .at = at, .size = (size_t)size};
    if (step.file < FILES)
        add(&step, data);
    return SQLITE_OK;
}

static int on_truncate(void *arg, const char *path, int64_t size)
{
    (void)arg;
    struct step step = {.kind = STEP_TRUNCATE, .file = file_of(path), .at = size};
    if (step.file < FILES)
        add(&step, NULL);
    return SQLITE_OK;
}

static int on_sync(void *arg, const char *path)
{
    (void)arg;
    struct step step = {.kind = STEP_SYNC, .file = file_of(path)};
    if (step.file < FILES)
        add(&step, NULL);
    return SQLITE_OK;
}

static int on_remove(void *arg, const char *path)
{
    (void)arg;
    struct step step = {.kind = STEP_REMOVE, .file = file_of(path)};
    if (step.file < FILES)
        add(&step, NULL);
    return SQLITE_OK;
}

const char *record_name(void)
{
    return database;
}

bool record_start(const char *folder, const char *name)
{
    static const struct disk_hooks hooks = {
        .write = on_write, .truncate = on_truncate, .sync = on_sync, .remove = on_remove};
    steps = calloc(STEPS_MOST, sizeof steps[0]);
    if (!steps || strlen(folder) + 2 > sizeof prefix)
        return false;
    strcpy(prefix, folder);
    strcat(prefix, "/");
    database = name;
    recording = true;
    return disk_install(&hooks) == SQLITE_OK;
}

void record_stop(void)
{
    (void)pthread_mutex_lock(&mutex);
    recording = false;
    (void)pthread_mutex_unlock(&mutex);
}

void record_receipt(int64_t number, const struct wp_ledger_head *head)
{
    struct step step = {.kind = STEP_RECEIPT, .at = number, .ledger_number = head->number};
    memcpy(step.digest, head->hash, sizeof step.digest);
    add(&step, NULL);
}

const struct step *record_steps(size_t *number)
{
    *number = count;
    return steps;
}

void record_free(void)
{
    for (size_t i = 0; i < count; i++)
        free(steps[i].data);
    free(steps);
    steps = NULL;
    count = 0;
}

struct recording {
    struct wp_store base;
    struct wp_store_ops ops;
    struct wp_store *real;
};

static struct wp_store *real_of(struct wp_store *store)
{
    return ((struct recording *)store)->real;
}

static enum wp_status put(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          const void *data, size_t size, struct wp_error *error)
{
    struct step step = {.kind = STEP_PUT, .size = size};
    memcpy(step.digest, digest, WP_SHA256_SIZE);
    add(&step, data);
    return real_of(store)->ops->put(real_of(store), digest, data, size, error);
}

static enum wp_status sync_store(struct wp_store *store, struct wp_error *error)
{
    enum wp_status status = real_of(store)->ops->sync(real_of(store), error);
    if (!status)
        add(&(struct step){.kind = STEP_STORE_SYNC}, NULL);
    return status;
}

static enum wp_status get(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          struct wp_bytes *out, struct wp_error *error)
{
    return real_of(store)->ops->get(real_of(store), digest, out, error);
}

static void free_store(struct wp_store *store)
{
    real_of(store)->ops->free(real_of(store));
    free(store);
}

struct wp_store *record_store(struct wp_store *real)
{
    struct recording *store = calloc(1, sizeof *store);
    if (!store)
        abort();
    /* The mover needs no more than these. */
    store->ops =
        (struct wp_store_ops){.put = put, .sync = sync_store, .get = get, .free = free_store};
    store->base.ops = &store->ops;
    store->real = real;
    return &store->base;
}
