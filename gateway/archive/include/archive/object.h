/* archive/object.h - the bytes of an object, wherever they lie.
 *
 * A new object's bytes first travel with the transaction that records it (table `staged`, zstd
 * level 1); the mover (archive/mover.h) then places them in the object store and lets go of the
 * copy.
 *
 * Thread: stage inside a write job; get wherever the connection may be used.
 */
#ifndef ARCHIVE_OBJECT_H
#define ARCHIVE_OBJECT_H

#include "db/db.h"
#include "store/store.h"

/* Keeps an object's bytes in the database: `packed` is one zstd frame of `size` bytes. The object
 * itself is recorded in state 'staged' (wp_object_add) in the same transaction. WP_CONSTRAINT:
 * staged already. Database errors. */
enum wp_status wp_object_stage(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE],
                               size_t size, const void *packed, size_t packed_size);

/* Appends the object's bytes to `out` (bounded by its limit) and checks them against the digest.
 * WP_NOT_FOUND, WP_TOO_LARGE, WP_NO_MEMORY; WP_IO: they cannot be read, or are not what they were
 * (then `out` is as it was before). Database errors. */
enum wp_status wp_object_get(struct wp_sql *sql, struct wp_store *store,
                             const unsigned char digest[WP_SHA256_SIZE], struct wp_bytes *out,
                             struct wp_error *error);

/* Re-hashes one object where it lies. WP_OK; WP_NOT_FOUND; WP_INVALID:
 * the bytes are not those of the digest; WP_IO, WP_NO_MEMORY, database errors. */
enum wp_status wp_object_check(struct wp_sql *sql, struct wp_store *store,
                               const unsigned char digest[WP_SHA256_SIZE]);

#endif
