/* What outlives the database: the list of removals beside it, and the files in the store. */
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cjson/cJSON.h>

#include "archive/removal.h"

#define LINE_MOST 4096
#define ROUND_MOST 64

struct round {
    struct wp_removal removals[ROUND_MOST];
    size_t removal_count;
    unsigned char digests[ROUND_MOST][WP_SHA256_SIZE];
    size_t digest_count;
};

/* ---- one line ---- */

static char *line_of(const struct wp_removal *removal)
{
    cJSON *json = cJSON_CreateObject();
    cJSON_AddNumberToObject(json, "id", (double)removal->id);
    cJSON_AddNumberToObject(json, "at_us", (double)removal->at_us);
    cJSON_AddStringToObject(json, "kind", removal->kind);
    cJSON_AddStringToObject(json, "subject", removal->subject);
    cJSON_AddStringToObject(json, "spectra", removal->spectra);
    cJSON_AddNumberToObject(json, "actor", removal->actor);
    cJSON_AddNumberToObject(json, "actor_id", (double)removal->actor_id);
    cJSON_AddStringToObject(json, "reason", removal->reason);
    char *text = cJSON_PrintUnformatted(json);
    cJSON_Delete(json);
    return text;
}

static bool take_text(const cJSON *json, const char *name, char *out, size_t room)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(json, name));
    wp_text_copy(out, room, text);
    return text && strlen(text) < room;
}

static int64_t take_int(const cJSON *json, const char *name)
{
    double number = cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(json, name));
    return number >= 0 && number < 9007199254740992.0 ? (int64_t)number : 0;
}

static bool read_line(const char *line, struct wp_removal *removal)
{
    cJSON *json = cJSON_Parse(line);
    memset(removal, 0, sizeof *removal);
    removal->id = take_int(json, "id");
    removal->at_us = take_int(json, "at_us");
    removal->actor = (enum wp_actor)take_int(json, "actor");
    removal->actor_id = take_int(json, "actor_id");
    bool whole = removal->id && removal->at_us &&
                 take_text(json, "kind", removal->kind, sizeof removal->kind) &&
                 take_text(json, "subject", removal->subject, sizeof removal->subject) &&
                 take_text(json, "spectra", removal->spectra, sizeof removal->spectra) &&
                 take_text(json, "reason", removal->reason, sizeof removal->reason);
    cJSON_Delete(json);
    return whole;
}

enum wp_status wp_removals_read(const char *folder,
                                enum wp_status (*each)(void *arg, const struct wp_removal *removal),
                                void *arg, struct wp_error *error)
{
    char path[4096], line[LINE_MOST];
    struct wp_removal removal;
    enum wp_status status = WP_OK;
    (void)snprintf(path, sizeof path, "%s/%s", folder, WP_ERASURES_FILE);
    FILE *file = fopen(path, "re");
    if (!file)
        return errno == ENOENT ? WP_OK : wp_fail(error, WP_IO, "%s: %s", path, strerror(errno));
    for (long number = 1; !status && fgets(line, sizeof line, file); number++) {
        bool ended = strchr(line, '\n') != NULL;
        if (read_line(line, &removal))
            status = each(arg, &removal);
        else if (ended || !feof(file)) {
            status = wp_fail(error, WP_INVALID, "%s: line %ld is no removal", path, number);
            if (error)
                error->line = number;
        }
    }
    if (!status && ferror(file))
        status = wp_fail(error, WP_IO, "%s cannot be read", path);
    (void)fclose(file);
    return status;
}

/* ---- one round ---- */

static enum wp_status read_removals(struct wp_sql *sql, struct round *round)
{
    struct wp_rows rows;
    (void)wp_sql_query(sql, &rows,
                       "SELECT id, at_us, kind, subject, spectra, actor, actor_id, reason FROM "
                       "removal WHERE listed = 0 ORDER BY id LIMIT ?",
                       "i", (int64_t)ROUND_MOST);
    while (round->removal_count < ROUND_MOST && wp_rows_next(&rows)) {
        struct wp_removal *removal = &round->removals[round->removal_count++];
        removal->id = wp_rows_int(&rows, 0);
        removal->at_us = wp_rows_int(&rows, 1);
        wp_text_copy(removal->kind, sizeof removal->kind, wp_rows_text(&rows, 2));
        wp_text_copy(removal->subject, sizeof removal->subject, wp_rows_text(&rows, 3));
        wp_text_copy(removal->spectra, sizeof removal->spectra, wp_rows_text(&rows, 4));
        removal->actor = (enum wp_actor)wp_rows_int(&rows, 5);
        removal->actor_id = wp_rows_int(&rows, 6);
        wp_text_copy(removal->reason, sizeof removal->reason, wp_rows_text(&rows, 7));
    }
    return wp_rows_end(&rows);
}

static enum wp_status read_digests(struct wp_sql *sql, struct round *round)
{
    struct wp_rows rows;
    (void)wp_sql_query(sql, &rows, "SELECT sha256 FROM object WHERE state = 'removing' LIMIT ?",
                       "i", (int64_t)ROUND_MOST);
    while (round->digest_count < ROUND_MOST && wp_rows_next(&rows)) {
        size_t size = 0;
        const void *digest = wp_rows_blob(&rows, 0, &size);
        if (size == WP_SHA256_SIZE)
            memcpy(round->digests[round->digest_count++], digest, size);
    }
    return wp_rows_end(&rows);
}

/* A line that a crash cut off is ended first, so that the next one stands alone. */
static bool end_cut_line(int file)
{
    char last = '\n';
    off_t end = lseek(file, 0, SEEK_END);
    if (end <= 0)
        return end == 0;
    if (pread(file, &last, 1, end - 1) != 1)
        return false;
    return last == '\n' || (ftruncate(file, end) == 0 && write(file, "\n", 1) == 1);
}

static bool append(int file, const struct round *round)
{
    bool written = end_cut_line(file);
    for (size_t i = 0; written && i < round->removal_count; i++) {
        char *text = line_of(&round->removals[i]);
        size_t size = text ? strlen(text) : 0;
        written = text && write(file, text, size) == (ssize_t)size && write(file, "\n", 1) == 1;
        free(text);
    }
    return written && fsync(file) == 0;
}

static enum wp_status list(const char *folder, const struct round *round, struct wp_error *error)
{
    if (!round->removal_count)
        return WP_OK;
    char path[4096];
    (void)snprintf(path, sizeof path, "%s/%s", folder, WP_ERASURES_FILE);
    int file = open(path, O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    bool written = file >= 0 && append(file, round);
    int cause = errno;
    if (file >= 0)
        (void)close(file);
    return written ? WP_OK : wp_fail(error, WP_IO, "%s: %s", path, strerror(cause));
}

static enum wp_status record(struct wp_txn *txn, void *arg)
{
    const struct round *round = arg;
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < round->removal_count; i++)
        status = wp_sql_run(txn->sql, "UPDATE removal SET listed = 1 WHERE id = ?", "i",
                            round->removals[i].id);
    for (size_t i = 0; !status && i < round->digest_count; i++)
        status = wp_sql_run(txn->sql,
                            "UPDATE object SET state = 'removed' WHERE sha256 = ? AND state = "
                            "'removing'",
                            "b", (const void *)round->digests[i], (size_t)WP_SHA256_SIZE);
    return status;
}

enum wp_status wp_removals_work(struct wp_db *db, struct wp_sql *sql, struct wp_store *store,
                                struct wp_error *error)
{
    struct round *round = calloc(1, sizeof *round);
    if (!round)
        return wp_fail(error, WP_NO_MEMORY, "no memory to remove objects");
    enum wp_status status = read_removals(sql, round);
    if (!status)
        status = read_digests(sql, round);
    if (status)
        (void)wp_fail(error, status, "removals cannot be read: %s", wp_sql_message(sql));
    else
        status = list(wp_db_folder(db), round, error);
    for (size_t i = 0; !status && i < round->digest_count; i++)
        status = store->ops->remove(store, round->digests[i], error);
    if (!status && (round->removal_count || round->digest_count)) {
        status = wp_db_write_wait(db, record, round);
        if (status)
            (void)wp_fail(error, status, "removals could not be recorded: %s",
                          wp_status_name(status));
    }
    free(round);
    return status;
}
