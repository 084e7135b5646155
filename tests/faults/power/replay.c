#include "replay.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SECTOR 512

static void resize(struct image *image, size_t size)
{
    if (size > image->room) {
        image->room = size + size / 2 + 4096;
        image->data = realloc(image->data, image->room);
        if (!image->data)
            abort();
    }
    if (size > image->size)
        memset(image->data + image->size, 0, size - image->size);
    image->size = size;
}

static void apply(struct image *image, const struct step *step, size_t from, size_t size)
{
    size_t end = (size_t)step->at + from + size;
    if (step->kind == STEP_TRUNCATE) {
        resize(image, (size_t)step->at);
    } else if (step->kind == STEP_REMOVE) {
        resize(image, 0);
    } else if (size) {
        if (end > image->size)
            resize(image, end);
        memcpy(image->data + step->at + from, step->data + from, size);
    }
}

static bool changes(const struct step *step, int file)
{
    return step->kind <= STEP_REMOVE && step->kind != STEP_SYNC && step->file == file;
}

/* The step after the last sync of this file, counted from the first step. */
static size_t unsynced_from(const struct replay *replay, const struct step *steps, size_t done,
                            int file)
{
    size_t from = replay->missing[file] ? 0 : done;
    while (from > 0 && !(steps[from - 1].kind == STEP_SYNC && steps[from - 1].file == file))
        from--;
    return from;
}

void replay_to(struct replay *replay, const struct step *steps, size_t to)
{
    for (int file = 0; file < FILES; file++) {
        size_t from = unsynced_from(replay, steps, replay->done, file);
        size_t end = unsynced_from(replay, steps, to, file);
        for (size_t i = from; i < end; i++)
            if (changes(&steps[i], file))
                apply(&replay->files[file], &steps[i], 0, steps[i].size);
    }
    replay->done = to;
}

/* One unsynced change: there, missing, or some of its sectors. */
static void apply_perhaps(struct image *image, const struct step *step)
{
    switch (rand() % 3) {
    case 0:
        return;
    case 1:
        apply(image, step, 0, step->size);
        return;
    default:
        if (step->kind != STEP_WRITE)
            return;
        for (size_t at = 0; at < step->size; at += SECTOR)
            if (rand() % 2)
                apply(image, step, at, step->size - at < SECTOR ? step->size - at : SECTOR);
    }
}

static bool write_file(const char *path, const void *data, size_t size)
{
    int file = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (file < 0)
        return false;
    bool written = write(file, data ? data : "", size) == (ssize_t)size;
    return close(file) == 0 && written;
}

static bool fail_file(const struct replay *replay, const struct step *steps, int file,
                      const char *folder)
{
    struct image image = {0};
    const struct image *sure = &replay->files[file];
    resize(&image, sure->size);
    if (sure->size)
        memcpy(image.data, sure->data, sure->size);
    for (size_t i = unsynced_from(replay, steps, replay->done, file); i < replay->done; i++)
        if (changes(&steps[i], file))
            apply_perhaps(&image, &steps[i]);
    char path[160];
    (void)snprintf(path, sizeof path, "%s/%s%s", folder, record_name(),
                   file == FILE_LOG ? "-wal" : "");
    bool written = write_file(path, image.data, image.size);
    free(image.data);
    return written;
}

static bool place_object(const struct step *step, size_t size, const char *folder)
{
    char hex[WP_SHA256_HEX];
    char path[200];
    wp_hex_encode(step->digest, WP_SHA256_SIZE, hex);
    (void)snprintf(path, sizeof path, "%s/objects/%.2s", folder, hex);
    (void)mkdir(path, 0700);
    (void)snprintf(path, sizeof path, "%s/objects/%.2s/%s", folder, hex, hex);
    return write_file(path, step->data, size);
}

/* Objects put before the last sync of the store are whole; of later ones there may be the name with
 * any number of the bytes, or nothing. */
static bool fail_store(const struct replay *replay, const struct step *steps, const char *folder)
{
    char path[160];
    size_t synced = replay->store_missing ? 0 : replay->done;
    while (synced > 0 && steps[synced - 1].kind != STEP_STORE_SYNC)
        synced--;
    (void)snprintf(path, sizeof path, "%s/objects", folder);
    if (mkdir(path, 0700) != 0)
        return false;
    bool written = true;
    for (size_t i = 0; i < replay->done && written; i++) {
        if (steps[i].kind != STEP_PUT)
            continue;
        if (i < synced)
            written = place_object(&steps[i], steps[i].size, folder);
        else if (rand() % 3)
            written = place_object(&steps[i], (size_t)rand() % (steps[i].size + 1), folder);
    }
    return written;
}

bool replay_fail(const struct replay *replay, const struct step *steps, const char *folder)
{
    bool written = fail_store(replay, steps, folder);
    for (int file = 0; file < FILES && written; file++)
        written = fail_file(replay, steps, file, folder);
    return written;
}

void replay_free(struct replay *replay)
{
    for (int file = 0; file < FILES; file++)
        free(replay->files[file].data);
}
