#include "archive/object.h"

#include <string.h>
#include <zstd.h>

#include "staged.h"

enum wp_status wp_object_stage(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE],
                               size_t size, const void *packed, size_t packed_size)
{
    return wp_sql_run(
        txn->sql, "INSERT INTO staged (sha256, size, encoding, body) VALUES (?, ?, 'zstd', ?)",
        "bib", (const void *)digest, (size_t)WP_SHA256_SIZE, (int64_t)size, packed, packed_size);
}

static bool is_digest_of(const unsigned char digest[WP_SHA256_SIZE], const void *data, size_t size)
{
    unsigned char real[WP_SHA256_SIZE];
    return !wp_sha256(data, size, real) && memcmp(real, digest, WP_SHA256_SIZE) == 0;
}

/* Takes back what was appended. */
static void cut(struct wp_bytes *bytes, size_t size)
{
    bytes->size = size;
    if (bytes->data)
        bytes->data[size] = '\0';
}

enum wp_status staged_unpack(const unsigned char digest[WP_SHA256_SIZE], size_t size,
                             const void *packed, size_t packed_size, struct wp_bytes *out)
{
    if (size > STAGED_MOST)
        return WP_INVALID;
    enum wp_status status = wp_bytes_reserve(out, size);
    if (status)
        return status;
    size_t got = ZSTD_decompress(out->data + out->size, size, packed, packed_size);
    if (ZSTD_isError(got) || got != size || !is_digest_of(digest, out->data + out->size, size)) {
        cut(out, out->size);
        return WP_INVALID;
    }
    cut(out, out->size + size);
    return WP_OK;
}

/* WP_NOT_FOUND: not staged. */
static enum wp_status get_staged(struct wp_sql *sql, const unsigned char digest[WP_SHA256_SIZE],
                                 struct wp_bytes *out)
{
    struct wp_rows rows;
    (void)wp_sql_query(sql, &rows, "SELECT size, body FROM staged WHERE sha256 = ?", "b",
                       (const void *)digest, (size_t)WP_SHA256_SIZE);
    enum wp_status found = WP_NOT_FOUND;
    if (wp_rows_next(&rows)) {
        size_t packed_size;
        const void *packed = wp_rows_blob(&rows, 1, &packed_size);
        found = staged_unpack(digest, (size_t)wp_rows_int(&rows, 0), packed, packed_size, out);
    }
    enum wp_status status = wp_rows_end(&rows);
    return status ? status : found;
}

static enum wp_status get_stored(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                                 struct wp_bytes *out, struct wp_error *error)
{
    size_t before = out->size;
    enum wp_status status = store->ops->get(store, digest, out, error);
    if (status || is_digest_of(digest, out->data ? out->data + before : "", out->size - before))
        return status;
    cut(out, before);
    return WP_INVALID;
}

enum wp_status wp_object_get(struct wp_sql *sql, struct wp_store *store,
                             const unsigned char digest[WP_SHA256_SIZE], struct wp_bytes *out,
                             struct wp_error *error)
{
    enum wp_status status = get_staged(sql, digest, out);
    if (status == WP_NOT_FOUND)
        status = get_stored(store, digest, out, error);
    /* It may have been staged after the first look. */
    if (status == WP_NOT_FOUND)
        status = get_staged(sql, digest, out);
    if (!status)
        return WP_OK;
    char hex[WP_SHA256_HEX];
    wp_hex_encode(digest, WP_SHA256_SIZE, hex);
    if (status == WP_INVALID)
        return wp_fail(error, WP_IO, "object %s is damaged", hex);
    return wp_fail(error, status, "object %s: %s", hex, wp_status_name(status));
}

enum wp_status wp_object_check(struct wp_sql *sql, struct wp_store *store,
                               const unsigned char digest[WP_SHA256_SIZE])
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, STAGED_MOST);
    enum wp_status status = get_staged(sql, digest, &bytes);
    if (status == WP_NOT_FOUND)
        status = store->ops->check(store, digest);
    wp_bytes_release(&bytes);
    return status;
}
