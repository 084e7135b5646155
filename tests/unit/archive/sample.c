#include "sample.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zstd.h>

#include "archive/record.h"
#include "base/secret.h"

bool sample_reopen(struct sample *sample)
{
    struct wp_db_options options = {.folder = sample->folder};
    return !wp_db_open(&options, &sample->db, NULL) &&
           !wp_store_open_folder(sample->folder, &sample->store, NULL);
}

bool sample_open(struct sample *sample)
{
    *sample = (struct sample){.folder = "/tmp/wp-archive-XXXXXX"};
    return !wp_secret_init() && mkdtemp(sample->folder) && sample_reopen(sample) &&
           !wp_db_write_now(sample->db, sample_set_up, NULL);
}

void sample_start(struct sample *sample)
{
    if (uv_loop_init(&sample->loop) || wp_db_start(sample->db, &sample->loop))
        abort();
    sample->started = true;
}

void sample_close(struct sample *sample)
{
    wp_db_close(sample->db);
    sample->store->ops->free(sample->store);
    if (sample->started) {
        (void)uv_run(&sample->loop, UV_RUN_DEFAULT);
        (void)uv_loop_close(&sample->loop);
    }
    sample->started = false;
}

static int remove_one(const char *path, const struct stat *found, int kind, struct FTW *walk)
{
    (void)found;
    (void)kind;
    (void)walk;
    return remove(path);
}

void sample_remove(struct sample *sample)
{
    (void)nftw(sample->folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

char *sample_bytes(int number, size_t size, unsigned char digest[WP_SHA256_SIZE])
{
    char *bytes = malloc(size + 1);
    if (!bytes)
        abort();
    unsigned state = (unsigned)number * 2654435761U + 1;
    for (size_t i = 0; i < size; i++) {
        state = state * 1664525U + 1013904223U;
        bytes[i] = (char)('0' + (state >> 24) % 10);
    }
    if (wp_sha256(bytes, size, digest))
        abort();
    return bytes;
}

enum wp_status sample_set_up(struct wp_txn *txn, void *job)
{
    (void)job;
    static const unsigned char token[WP_HASH_SIZE] = {1};
    enum wp_status status = wp_sql_run(
        txn->sql,
        "INSERT INTO instrument (id, name, place, created_us) VALUES (1, 'IR-1', 'A/1', ?)", "i",
        txn->now);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO agent (id, instrument_id, token_hash, joined_us, seen_us)"
                            " VALUES (?, 1, ?, ?, ?)",
                            "ibii", (int64_t)SAMPLE_AGENT, (const void *)token, sizeof token,
                            txn->now, txn->now);
    return status;
}

static enum wp_status stage(struct wp_txn *txn, const unsigned char *digest, const char *bytes,
                            size_t size)
{
    size_t room = ZSTD_compressBound(size);
    void *packed = malloc(room);
    if (!packed)
        return WP_NO_MEMORY;
    size_t packed_size = ZSTD_compress(packed, room, bytes, size, 1);
    enum wp_status status = wp_object_add(txn, digest, size, false, "jcamp-dx", NULL);
    if (!status)
        status = wp_object_stage(txn, digest, size, packed, packed_size);
    free(packed);
    return status;
}

static enum wp_status measure(struct wp_txn *txn, const struct wp_capture *capture)
{
    struct wp_measurement measurement = {.instrument = 1,
                                         .capture = capture->id,
                                         .title = "",
                                         .technique = "infrared",
                                         .time_source = "export",
                                         .verdict = "usable",
                                         .examination = "{}"};
    enum wp_status status = wp_measurement_add(txn, &measurement);
    if (status)
        return status;
    struct wp_rendition rendition = {
        .measurement = measurement.id, .capture = capture->id, .format = "jcamp-dx", .points = 100};
    memcpy(rendition.digest, capture->digest, WP_SHA256_SIZE);
    status = wp_rendition_add(txn, &rendition);
    struct wp_stamp stamp = {
        .measurement = measurement.id, .kind = "sample", .guest = "Visitor", .rule = "staff"};
    return status ? status : wp_stamp_add(txn, &stamp);
}

enum wp_status sample_take(struct wp_txn *txn, void *job)
{
    struct sample_capture *taken = job;
    struct wp_capture capture = {.agent = SAMPLE_AGENT,
                                 .number = taken->number,
                                 .instrument = 1,
                                 .path = "a.jdx",
                                 .boot_id = "boot"};
    char *bytes = sample_bytes(taken->number, taken->size, capture.digest);
    enum wp_status status = stage(txn, capture.digest, bytes, taken->size);
    free(bytes);
    if (!status)
        status = wp_capture_add(txn, &capture, WP_ACTOR_AGENT, SAMPLE_AGENT, &taken->head);
    return status ? status : measure(txn, &capture);
}

int64_t sample_staged(struct sample *sample)
{
    struct wp_sql *sql = NULL;
    int64_t count = -1;
    if (!wp_db_reader(sample->db, &sql, NULL))
        (void)wp_sql_int(sql, &count, "SELECT count(*) FROM staged", "");
    wp_sql_close(sql);
    return count;
}
