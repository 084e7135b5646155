/* base/characters.h - single characters to UTF-8 (RFC 3629). Pure; any thread. */
#ifndef BASE_CHARACTERS_H
#define BASE_CHARACTERS_H

#include <stddef.h>
#include <stdint.h>

/* Writes one code point (at most U+10FFFF, no surrogate) as UTF-8; returns its 1 to 4 bytes. */
size_t wp_utf8_put(uint32_t code, char *out);

/* Writes one code point of Windows-1252, which holds Latin-1, as UTF-8; returns its 1 to 3 bytes.
 * Table: WHATWG Encoding Standard; the five bytes without a character become U+FFFD. */
size_t wp_windows1252_to_utf8(unsigned char byte, char out[4]);

#endif
