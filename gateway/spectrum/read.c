#include "spectrum/read.h"

#include <stdlib.h>
#include <string.h>

#include "encoding.h"
#include "reader.h"

const struct wp_read_limits wp_read_limits_default = {
    .bytes = ((size_t)64 << 20) + ((size_t)1 << 20),
    .points = 10000000,
    .spectra = 256,
    .total = 12000000,
    .depth = 8,
};

static enum wp_status decide(struct wp_reader *reader)
{
    if (wp_is_jcamp(reader->begin, reader->end)) {
        reader->out->format = WP_FORMAT_JCAMP;
        return wp_read_jcamp(reader);
    }
    return wp_read_delimited(reader);
}

static enum wp_status read_utf16(struct wp_reader *reader, const unsigned char *bytes, size_t size,
                                 bool big_endian)
{
    size_t converted = 0;
    size_t broken = 0;
    char *text = wp_utf16_to_utf8(bytes, size, big_endian, &converted, &broken);
    if (!text)
        return wp_reader_no_memory(reader);
    reader->begin = reader->line_at = text;
    reader->end = text + converted;
    if (broken)
        wp_reader_warn(reader, 0, "", "%zu characters of the UTF-16 text are broken", broken);
    enum wp_status status = decide(reader);
    free(text);
    return status;
}

enum wp_status wp_read(const void *bytes, size_t size, const struct wp_read_limits *limits,
                       struct wp_reading *out)
{
    memset(out, 0, sizeof *out);
    struct wp_reader reader = {.limits = limits ? limits : &wp_read_limits_default, .out = out};
    reader.line = 1;
    if (size > reader.limits->bytes)
        return wp_fail(&out->error, WP_TOO_LARGE, "the file has %zu bytes, the limit is %zu", size,
                       reader.limits->bytes);
    if (size == 0)
        return wp_fail(&out->error, WP_INVALID, "the file is empty");
    size_t mark = 0;
    enum wp_encoding encoding = wp_encoding_detect(bytes, size, &mark);
    const unsigned char *text = (const unsigned char *)bytes + mark;
    size -= mark;
    if (encoding == WP_ENC_UTF16_LE || encoding == WP_ENC_UTF16_BE)
        return read_utf16(&reader, text, size, encoding == WP_ENC_UTF16_BE);
    reader.begin = reader.line_at = (const char *)text;
    reader.end = reader.begin + size;
    return decide(&reader);
}
