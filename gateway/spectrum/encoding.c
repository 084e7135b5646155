#include "encoding.h"

#include <stdint.h>
#include <stdlib.h>

#include "base/characters.h"

/* UTF-16 without a mark: the first bytes are ASCII, so every other byte is zero. */
static enum wp_encoding detect_by_zeros(const unsigned char *bytes, size_t size)
{
    size_t look = size < 64 ? size & ~(size_t)1 : 64;
    size_t even = 0;
    size_t odd = 0;
    for (size_t i = 0; i < look; i += 2) {
        even += bytes[i] == 0;
        odd += bytes[i + 1] == 0;
    }
    size_t most = look / 2;
    if (most < 4)
        return WP_ENC_BYTES;
    if (odd * 10 >= most * 9 && even == 0)
        return WP_ENC_UTF16_LE;
    if (even * 10 >= most * 9 && odd == 0)
        return WP_ENC_UTF16_BE;
    return WP_ENC_BYTES;
}

enum wp_encoding wp_encoding_detect(const unsigned char *bytes, size_t size, size_t *mark)
{
    *mark = 0;
    if (size >= 3 && bytes[0] == 0xEF && bytes[1] == 0xBB && bytes[2] == 0xBF) {
        *mark = 3;
        return WP_ENC_UTF8;
    }
    if (size >= 2 && bytes[0] == 0xFF && bytes[1] == 0xFE) {
        *mark = 2;
        return WP_ENC_UTF16_LE;
    }
    if (size >= 2 && bytes[0] == 0xFE && bytes[1] == 0xFF) {
        *mark = 2;
        return WP_ENC_UTF16_BE;
    }
    return detect_by_zeros(bytes, size);
}

static uint32_t unit_at(const unsigned char *bytes, bool big_endian)
{
    return big_endian ? (uint32_t)bytes[0] << 8 | bytes[1] : (uint32_t)bytes[1] << 8 | bytes[0];
}

char *wp_utf16_to_utf8(const unsigned char *bytes, size_t size, bool big_endian, size_t *out_size,
                       size_t *broken)
{
    /* At most 3 bytes of UTF-8 for one unit; two for a pair make 4. */
    char *out = malloc(size / 2 * 3 + 4);
    if (!out)
        return NULL;
    size_t used = 0;
    *broken = 0;
    for (size_t i = 0; i + 1 < size; i += 2) {
        uint32_t code = unit_at(bytes + i, big_endian);
        if (code >= 0xD800 && code < 0xE000) {
            uint32_t low = i + 3 < size ? unit_at(bytes + i + 2, big_endian) : 0;
            bool pair = code < 0xDC00 && low >= 0xDC00 && low < 0xE000;
            *broken += !pair;
            code = pair ? 0x10000 + ((code - 0xD800) << 10) + (low - 0xDC00) : 0xFFFD;
            i += pair ? 2 : 0;
        }
        used += wp_utf8_put(code, out + used);
    }
    *broken += size & 1;
    *out_size = used;
    return out;
}
