#include "encoding.h"

#include <stdint.h>
#include <stdlib.h>

/* 0x80-0x9F of Windows-1252 as in the WHATWG Encoding Standard's index; the five bytes it leaves
 * undefined stay C1 controls there and become U+FFFD here. */
static const uint16_t windows1252[32] = {
    0x20AC, 0xFFFD, 0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160,
    0x2039, 0x0152, 0xFFFD, 0x017D, 0xFFFD, 0xFFFD, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022,
    0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0xFFFD, 0x017E, 0x0178,
};

static size_t put(uint32_t code, char *out)
{
    if (code < 0x80) {
        out[0] = (char)code;
        return 1;
    }
    if (code < 0x800) {
        out[0] = (char)(0xC0 | code >> 6);
        out[1] = (char)(0x80 | (code & 0x3F));
        return 2;
    }
    if (code < 0x10000) {
        out[0] = (char)(0xE0 | code >> 12);
        out[1] = (char)(0x80 | (code >> 6 & 0x3F));
        out[2] = (char)(0x80 | (code & 0x3F));
        return 3;
    }
    out[0] = (char)(0xF0 | code >> 18);
    out[1] = (char)(0x80 | (code >> 12 & 0x3F));
    out[2] = (char)(0x80 | (code >> 6 & 0x3F));
    out[3] = (char)(0x80 | (code & 0x3F));
    return 4;
}

size_t wp_windows1252_to_utf8(unsigned char byte, char out[4])
{
    return put(byte >= 0x80 && byte < 0xA0 ? windows1252[byte - 0x80] : byte, out);
}

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
        used += put(code, out + used);
    }
    *broken += size & 1;
    *out_size = used;
    return out;
}
