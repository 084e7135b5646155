#include "base/bytes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void wp_bytes_init(struct wp_bytes *bytes, size_t limit)
{
    *bytes = (struct wp_bytes){.limit = limit};
}

void wp_bytes_release(struct wp_bytes *bytes)
{
    free(bytes->data);
    wp_bytes_init(bytes, bytes->limit);
}

void wp_bytes_clear(struct wp_bytes *bytes)
{
    bytes->size = 0;
    if (bytes->data)
        bytes->data[0] = '\0';
}

enum wp_status wp_bytes_reserve(struct wp_bytes *bytes, size_t extra)
{
    if (extra > bytes->limit || bytes->size > bytes->limit - extra)
        return WP_TOO_LARGE;
    size_t needed = bytes->size + extra + 1;
    if (needed <= bytes->capacity)
        return WP_OK;
    size_t grown = bytes->capacity ? bytes->capacity * 2 : 64;
    if (grown > bytes->limit + 1)
        grown = bytes->limit + 1;
    if (grown < needed)
        grown = needed;
    char *data = realloc(bytes->data, grown);
    if (!data)
        return WP_NO_MEMORY;
    bytes->data = data;
    bytes->capacity = grown;
    bytes->data[bytes->size] = '\0';
    return WP_OK;
}

enum wp_status wp_bytes_add(struct wp_bytes *bytes, const void *data, size_t size)
{
    enum wp_status status = wp_bytes_reserve(bytes, size);
    if (status)
        return status;
    if (size)
        memcpy(bytes->data + bytes->size, data, size);
    bytes->size += size;
    bytes->data[bytes->size] = '\0';
    return WP_OK;
}

enum wp_status wp_bytes_add_text(struct wp_bytes *bytes, const char *text)
{
    return wp_bytes_add(bytes, text, strlen(text));
}

enum wp_status wp_bytes_add_byte(struct wp_bytes *bytes, char byte)
{
    return wp_bytes_add(bytes, &byte, 1);
}

enum wp_status wp_bytes_addf(struct wp_bytes *bytes, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    va_list again;
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, arguments);
    va_end(arguments);
    enum wp_status status = length < 0 ? WP_INVALID : wp_bytes_reserve(bytes, (size_t)length);
    if (!status) {
        (void)vsnprintf(bytes->data + bytes->size, (size_t)length + 1, format, again);
        bytes->size += (size_t)length;
    }
    va_end(again);
    return status;
}

char *wp_bytes_take(struct wp_bytes *bytes, size_t *size)
{
    char *data = bytes->data ? bytes->data : calloc(1, 1);
    if (size)
        *size = bytes->size;
    wp_bytes_init(bytes, bytes->limit);
    return data;
}

void wp_hex_encode(const void *data, size_t size, char *text)
{
    static const char digits[] = "0123456789abcdef";
    const unsigned char *byte = data;
    for (size_t i = 0; i < size; i++) {
        text[2 * i] = digits[byte[i] >> 4];
        text[2 * i + 1] = digits[byte[i] & 15];
    }
    text[2 * size] = '\0';
}

static int hex_value(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

bool wp_hex_decode(const char *text, void *data, size_t size)
{
    unsigned char *byte = data;
    for (size_t i = 0; i < size; i++) {
        int high = hex_value(text[2 * i]);
        int low = high < 0 ? -1 : hex_value(text[2 * i + 1]);
        if (low < 0)
            return false;
        byte[i] = (unsigned char)(high * 16 + low);
    }
    return text[2 * size] == '\0';
}

/* Length of the well-formed UTF-8 character at `text`, 0 if there is none (RFC 3629, section 4). */
static size_t utf8_length(const unsigned char *text, size_t size)
{
    unsigned char first = text[0];
    if (first < 0x80)
        return 1;
    size_t length = first >= 0xF0 ? 4 : first >= 0xE0 ? 3 : 2;
    if (first < 0xC2 || first > 0xF4 || size < length)
        return 0;
    unsigned char low = first == 0xE0 ? 0xA0 : first == 0xF0 ? 0x90 : 0x80;
    unsigned char high = first == 0xED ? 0x9F : first == 0xF4 ? 0x8F : 0xBF;
    if (text[1] < low || text[1] > high)
        return 0;
    for (size_t i = 2; i < length; i++)
        if ((text[i] & 0xC0) != 0x80)
            return 0;
    return length;
}

/* The value of one letter of base64, or -1. */
static int base64_value(char letter)
{
    static const char letters[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    const char *at = letter ? strchr(letters, letter) : NULL;
    return at ? (int)(at - letters) : -1;
}

/* Four letters, of which the last one or two may be padding: 1 to 3 bytes, or 0 if malformed. */
static size_t base64_four(const char *text, unsigned char out[3])
{
    int a = base64_value(text[0]), b = base64_value(text[1]);
    int c = text[2] == '=' && text[3] == '=' ? 0 : base64_value(text[2]);
    int d = text[3] == '=' ? 0 : base64_value(text[3]);
    if (a < 0 || b < 0 || c < 0 || d < 0)
        return 0;
    out[0] = (unsigned char)(a << 2 | b >> 4);
    out[1] = (unsigned char)((b & 15) << 4 | c >> 2);
    out[2] = (unsigned char)((c & 3) << 6 | d);
    return text[3] != '=' ? 3 : text[2] != '=' ? 2 : 1;
}

enum wp_status wp_base64_read(const char *text, struct wp_bytes *bytes)
{
    size_t length = strlen(text);
    if (length % 4)
        return WP_INVALID;
    for (size_t i = 0; i < length; i += 4) {
        unsigned char out[3];
        size_t size = base64_four(text + i, out);
        if (!size || (size < 3 && i + 4 < length))
            return WP_INVALID;
        enum wp_status status = wp_bytes_add(bytes, out, size);
        if (status)
            return status;
    }
    return WP_OK;
}

bool wp_utf8_valid(const char *text, size_t size)
{
    for (size_t at = 0; at < size;) {
        size_t length = utf8_length((const unsigned char *)text + at, size - at);
        if (!length)
            return false;
        at += length;
    }
    return true;
}

size_t wp_utf8_cut(const char *text, size_t size, size_t most)
{
    if (size <= most)
        return size;
    while (most > 0 && ((unsigned char)text[most] & 0xC0) == 0x80)
        most--;
    return most;
}

void wp_text_copy(char *out, size_t room, const char *text)
{
    size_t size = text ? wp_utf8_cut(text, strlen(text), room - 1) : 0;
    if (text)
        memcpy(out, text, size);
    out[size] = '\0';
}

void wp_text_clean(const char *text, size_t size, char *out, size_t room)
{
    static const char replacement[] = "\xEF\xBF\xBD";
    size_t used = 0;
    for (size_t at = 0; at < size;) {
        const unsigned char *byte = (const unsigned char *)text + at;
        size_t length = utf8_length(byte, size - at);
        bool control = length == 1 && (*byte < 0x20 || *byte == 0x7F);
        bool c1 = length == 2 && byte[0] == 0xC2 && byte[1] < 0xA0;
        bool bad = length == 0 || control || c1;
        const char *from = bad ? replacement : text + at;
        size_t count = bad ? 3 : length;
        if (used + count >= room)
            break;
        memcpy(out + used, from, count);
        used += count;
        at += length ? length : 1;
    }
    out[used] = '\0';
}
