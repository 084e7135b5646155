/* base/bytes.h - a growing byte buffer with a bound, hexadecimal, and UTF-8 checks.
 *
 * A `struct wp_bytes` belongs to whoever initialised it. `data` is always followed by a zero byte
 * that is not counted in `size`, so text can be printed as it is. No call grows a buffer past
 * `limit`. After a failed call the buffer still holds what it held before.
 *
 * Thread: a buffer may be used by one thread at a time.
 */
#ifndef BASE_BYTES_H
#define BASE_BYTES_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/status.h"

struct wp_bytes {
    char *data;      /* NULL until the first byte is added */
    size_t size;     /* bytes held */
    size_t capacity; /* bytes allocated, the zero byte included */
    size_t limit;    /* most bytes it may hold */
};

/* An empty buffer that may grow to `limit` bytes. Cannot fail; allocates nothing. */
void wp_bytes_init(struct wp_bytes *bytes, size_t limit);

/* Frees the memory and leaves an empty buffer with the same limit. Harmless on an empty one. */
void wp_bytes_release(struct wp_bytes *bytes);

/* Forgets the content and keeps the memory. */
void wp_bytes_clear(struct wp_bytes *bytes);

/* Makes room for `extra` more bytes. WP_TOO_LARGE past the limit, WP_NO_MEMORY. */
enum wp_status wp_bytes_reserve(struct wp_bytes *bytes, size_t extra);

/* Appends bytes, a C string, one byte, or formatted text. Errors as wp_bytes_reserve. */
enum wp_status wp_bytes_add(struct wp_bytes *bytes, const void *data, size_t size);
enum wp_status wp_bytes_add_text(struct wp_bytes *bytes, const char *text);
enum wp_status wp_bytes_add_byte(struct wp_bytes *bytes, char byte);
enum wp_status wp_bytes_addf(struct wp_bytes *bytes, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Gives the memory away: returns a malloc'ed, zero-terminated block (NULL if out of memory) that
 * the caller frees, and leaves the buffer empty. `size` may be NULL. */
char *wp_bytes_take(struct wp_bytes *bytes, size_t *size);

/* Writes 2 * size lower-case hexadecimal digits and a zero byte to `text`. */
void wp_hex_encode(const void *data, size_t size, char *text);

/* Reads exactly 2 * size hexadecimal digits (either case). False if `text` is anything else. */
bool wp_hex_decode(const char *text, void *data, size_t size);

/* Appends what base64 (RFC 4648 section 4, padded, without line breaks) stands for. WP_INVALID: it
 * is anything else; WP_TOO_LARGE past the limit, WP_NO_MEMORY. */
enum wp_status wp_base64_read(const char *text, struct wp_bytes *bytes);

/* True if the `size` bytes are well-formed UTF-8 (RFC 3629): no surrogates, no overlong forms. */
bool wp_utf8_valid(const char *text, size_t size);

/* The largest count of bytes, at most `most`, that ends at a character boundary of `text`. */
size_t wp_utf8_cut(const char *text, size_t size, size_t most);

/* Copies `text` (NULL counts as "") to `out` of `room` bytes, at least 1; what is too long is cut
 * at a character boundary. */
void wp_text_copy(char *out, size_t room, const char *text);

/* Copies `text` to `out` (of `room` bytes, at least 1) as one line that is safe to show and log:
 * control characters, and bytes that are not UTF-8, become U+FFFD; cut at a character boundary. */
void wp_text_clean(const char *text, size_t size, char *out, size_t room);

#endif
