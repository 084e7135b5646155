/* archive/object.h - the bytes of an object, wherever they are now.
 *
 * A new object's bytes stand compressed in table `staged` of the same database and commit with its
 * capture; the mover later puts them into the store and lets go of the copy. A reader asks here and
 * need not know which.
 *
 * Thread: staging inside write jobs; reading on any lane thread with its own connection.
 */
#ifndef ARCHIVE_OBJECT_H
#define ARCHIVE_OBJECT_H

#include "base/bytes.h"
#include "base/digest.h"
#include "db/db.h"
#include "store/store.h"

/* Keeps the bytes with the transaction: `packed` is one zstd frame (RFC 8878) of `size` bytes. */
enum wp_status wp_object_stage(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE],
                               size_t size, const void *packed, size_t packed_size);

/* Unpacks a staged body of `size` bytes and appends it to `out`. WP_INVALID: not such a frame. */
enum wp_status wp_object_unpack(const void *packed, size_t packed_size, size_t size,
                                struct wp_bytes *out, struct wp_error *error);

/* Appends the object's bytes to `out`. Looks at the staged copy, then at the store, then at the
 * staged copy again, since the mover may let go in between. WP_NOT_FOUND; WP_TOO_LARGE past the
 * limit of `out`; WP_IO. */
enum wp_status wp_object_get(struct wp_sql *sql, struct wp_store *store,
                             const unsigned char digest[WP_SHA256_SIZE], struct wp_bytes *out,
                             struct wp_error *error);

#endif
