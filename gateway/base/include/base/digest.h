/* base/digest.h - SHA-256 (FIPS 180-4) and the Content-Digest field (RFC 9530).
 *
 * Computed by GnuTLS, which uses the processor's SHA instructions. Thread: a running digest by one
 * thread at a time.
 */
#ifndef BASE_DIGEST_H
#define BASE_DIGEST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/status.h"

#define WP_SHA256_SIZE 32
#define WP_SHA256_HEX 65
#define WP_CONTENT_DIGEST_ROOM 64

/* All at once. WP_IO only if the library is not usable at all. */
enum wp_status wp_sha256(const void *data, size_t size, unsigned char digest[WP_SHA256_SIZE]);

/* In pieces: begin (WP_NO_MEMORY), add, end. `end` and `drop` free the state. */
struct wp_sha256;
enum wp_status wp_sha256_begin(struct wp_sha256 **state);
enum wp_status wp_sha256_add(struct wp_sha256 *state, const void *data, size_t size);
void wp_sha256_end(struct wp_sha256 *state, unsigned char digest[WP_SHA256_SIZE]);
void wp_sha256_drop(struct wp_sha256 *state);

/* "sha-256=:<base64>:" */
void wp_content_digest_format(const unsigned char digest[WP_SHA256_SIZE],
                              char text[WP_CONTENT_DIGEST_ROOM]);
/* Finds the sha-256 member of a field value. False if there is none or it is malformed. */
bool wp_content_digest_parse(const char *text, unsigned char digest[WP_SHA256_SIZE]);

#endif
