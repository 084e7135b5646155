/* staged.h - unpacking staged bytes. */
#ifndef ARCHIVE_STAGED_H
#define ARCHIVE_STAGED_H

#include "base/bytes.h"
#include "base/digest.h"

/* No object is larger, whatever a record says. */
#define STAGED_MOST ((size_t)64 * 1024 * 1024)

/* Appends the `size` bytes that `packed` holds to `out` and checks them against the digest.
 * WP_INVALID: they are not those bytes; WP_TOO_LARGE, WP_NO_MEMORY. On failure `out` is as before.
 */
enum wp_status staged_unpack(const unsigned char digest[WP_SHA256_SIZE], size_t size,
                             const void *packed, size_t packed_size, struct wp_bytes *out);

#endif
