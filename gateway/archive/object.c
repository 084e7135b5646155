#include "archive/object.h"

#include <zstd.h>

enum wp_status wp_object_stage(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE],
                               size_t size, const void *packed, size_t packed_size)
{
    return wp_sql_run(txn->sql,
                      "INSERT INTO staged (sha256, size, encoding, body) VALUES (?, ?, 'zstd', ?)",
                      "bib", digest, (size_t)WP_SHA256_SIZE, (int64_t)size, packed, packed_size);
}

enum wp_status wp_object_unpack(const void *packed, size_t packed_size, size_t size,
                                struct wp_bytes *out, struct wp_error *error)
{
    enum wp_status status = wp_bytes_reserve(out, size);
    if (status)
        return wp_fail(error, status, "The object is too large to be held in memory.");
    size_t used = ZSTD_decompress(out->data + out->size, size, packed, packed_size);
    if (ZSTD_isError(used) || used != size)
        return wp_fail(error, WP_INVALID, "The staged copy does not unpack.");
    out->size += size;
    out->data[out->size] = '\0';
    return WP_OK;
}

static enum wp_status from_staged(struct wp_sql *sql, const unsigned char digest[WP_SHA256_SIZE],
                                  struct wp_bytes *out, struct wp_error *error)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT size, body FROM staged WHERE sha256 = ?", "b", digest,
                     (size_t)WP_SHA256_SIZE);
    if (status)
        return status;
    enum wp_status unpacked = WP_NOT_FOUND;
    if (wp_rows_next(&rows)) {
        size_t packed_size = 0;
        const void *packed = wp_rows_blob(&rows, 1, &packed_size);
        unpacked = wp_object_unpack(packed, packed_size, (size_t)wp_rows_int(&rows, 0), out, error);
    }
    status = wp_rows_end(&rows);
    return status ? status : unpacked;
}

enum wp_status wp_object_get(struct wp_sql *sql, struct wp_store *store,
                             const unsigned char digest[WP_SHA256_SIZE], struct wp_bytes *out,
                             struct wp_error *error)
{
    enum wp_status status = from_staged(sql, digest, out, error);
    if (status == WP_NOT_FOUND)
        status = store->ops->get(store, digest, out, error);
    if (status == WP_NOT_FOUND)
        status = from_staged(sql, digest, out, error);
    return status == WP_NOT_FOUND ? wp_fail(error, status, "The object's bytes are missing.")
                                  : status;
}
