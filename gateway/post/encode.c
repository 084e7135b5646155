/* Transfer encodings of RFC 2045. */
#include "encode.h"

#include <string.h>

enum { LINE = 76, BASE64_INPUT = 57 }; /* 57 bytes make 76 letters */

static const char base64_letters[] =
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

static enum wp_status add_triple(struct wp_bytes *out, const unsigned char *at, size_t left)
{
    unsigned long bits = (unsigned long)at[0] << 16;
    if (left > 1)
        bits |= (unsigned long)at[1] << 8;
    if (left > 2)
        bits |= at[2];
    char four[4] = {base64_letters[bits >> 18 & 63], base64_letters[bits >> 12 & 63],
                    left > 1 ? base64_letters[bits >> 6 & 63] : '=',
                    left > 2 ? base64_letters[bits & 63] : '='};
    return wp_bytes_add(out, four, sizeof four);
}

enum wp_status wp_encode_base64(struct wp_bytes *out, const void *data, size_t size)
{
    const unsigned char *bytes = data;
    for (size_t i = 0; i < size; i += 3) {
        enum wp_status status = add_triple(out, bytes + i, size - i);
        if (status)
            return status;
    }
    return WP_OK;
}

enum wp_status wp_encode_base64_lines(struct wp_bytes *out, const void *data, size_t size)
{
    const unsigned char *bytes = data;
    for (size_t i = 0; i < size; i += BASE64_INPUT) {
        size_t take = size - i < BASE64_INPUT ? size - i : BASE64_INPUT;
        enum wp_status status = wp_encode_base64(out, bytes + i, take);
        if (!status)
            status = wp_bytes_add(out, "\r\n", 2);
        if (status)
            return status;
    }
    return WP_OK;
}

static bool is_plain(unsigned char byte)
{
    return byte >= 0x20 && byte < 0x7f && byte != '=';
}

/* One line without its line break. */
static enum wp_status add_quoted_line(struct wp_bytes *out, const char *line, size_t size)
{
    size_t column = 0;
    for (size_t i = 0; i < size; i++) {
        unsigned char byte = (unsigned char)line[i];
        /* A blank at the end of a line would be lost on the way. */
        bool plain = is_plain(byte) && !(byte == ' ' && i + 1 == size);
        size_t width = plain ? 1 : 3;
        enum wp_status status = WP_OK;
        if (column + width > LINE - 1) {
            status = wp_bytes_add(out, "=\r\n", 3);
            column = 0;
        }
        if (!status)
            status = plain ? wp_bytes_add_byte(out, (char)byte)
                           : wp_bytes_addf(out, "=%02X", (unsigned)byte);
        if (status)
            return status;
        column += width;
    }
    return wp_bytes_add(out, "\r\n", 2);
}

enum wp_status wp_encode_quoted(struct wp_bytes *out, const char *text, size_t size)
{
    const char *at = text;
    const char *end = text + size;
    while (at < end) {
        const char *stop = memchr(at, '\n', (size_t)(end - at));
        if (stop == NULL)
            stop = end;
        enum wp_status status = add_quoted_line(out, at, (size_t)(stop - at));
        if (status)
            return status;
        at = stop < end ? stop + 1 : end;
    }
    return WP_OK;
}

static const char *html_reference(char letter)
{
    switch (letter) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

enum wp_status wp_encode_html(struct wp_bytes *out, const char *text)
{
    char clean[1024];
    wp_text_clean(text, strlen(text), clean, sizeof clean);
    for (const char *at = clean; *at != '\0'; at++) {
        const char *reference = html_reference(*at);
        enum wp_status status =
            reference != NULL ? wp_bytes_add_text(out, reference) : wp_bytes_add_byte(out, *at);
        if (status)
            return status;
    }
    return WP_OK;
}
