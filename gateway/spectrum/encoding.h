/* encoding.h - bytes of unknown encoding to UTF-8.
 *
 * Private to the spectrum room. Pure; any thread.
 */
#ifndef SPECTRUM_ENCODING_H
#define SPECTRUM_ENCODING_H

#include <stdbool.h>
#include <stddef.h>

enum wp_encoding { WP_ENC_BYTES, WP_ENC_UTF8, WP_ENC_UTF16_LE, WP_ENC_UTF16_BE };

/* Decides by a byte order mark, else by the zero bytes that Latin text in UTF-16 has. `*mark` is
 * the length of the mark. WP_ENC_BYTES: an 8-bit encoding (ASCII, UTF-8 or Windows-1252). */
enum wp_encoding wp_encoding_detect(const unsigned char *bytes, size_t size, size_t *mark);

/* UTF-16 to a new block of UTF-8 (not zero-terminated, never NULL on success); `*broken` counts
 * lone surrogates and a last odd byte, which become U+FFFD. NULL if out of memory. */
char *wp_utf16_to_utf8(const unsigned char *bytes, size_t size, bool big_endian, size_t *out_size,
                       size_t *broken);

#endif
