#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"
#include "base/characters.h"
#include "encoding.h"
#include "reader.h"

static bool is_space(char c)
{
    return c == ' ' || (c >= '\t' && c <= '\r') || c == '\0' || c == 0x1A;
}

/* Control characters other than a line end have no place in a label's value. */
static void clean_controls(char *text)
{
    char *to = text;
    for (char *from = text; *from; from++) {
        unsigned char c = (unsigned char)*from;
        if (c == '\r') {
            if (from[1] != '\n')
                *to++ = '\n';
        } else if (c == '\n') {
            *to++ = '\n';
        } else {
            *to++ = c < 0x20 || c == 0x7F ? ' ' : *from;
        }
    }
    *to = '\0';
}

static char *from_windows1252(const char *text, size_t size)
{
    char *out = malloc(3 * size + 4);
    if (!out)
        return NULL;
    size_t used = 0;
    for (size_t i = 0; i < size; i++)
        used += wp_windows1252_to_utf8((unsigned char)(text[i] ? text[i] : ' '), out + used);
    out[used] = '\0';
    return out;
}

char *wp_reader_text(struct wp_reader *reader, const char *text, size_t size, size_t most,
                     long line, const char *label)
{
    while (size && is_space(*text))
        text++, size--;
    while (size && is_space(text[size - 1]))
        size--;
    if (size > most) {
        size_t cut = wp_utf8_cut(text, size, most);
        size = cut ? cut : most;
        wp_reader_warn(reader, line, label, "longer than %zu bytes; the rest was left out", most);
    }
    char *out;
    if (wp_utf8_valid(text, size)) {
        out = malloc(size + 1);
        if (!out)
            return NULL;
        for (size_t i = 0; i < size; i++)
            out[i] = text[i] ? text[i] : ' ';
        out[size] = '\0';
    } else {
        out = from_windows1252(text, size);
        if (!out)
            return NULL;
        if (strlen(out) > most)
            out[wp_utf8_cut(out, strlen(out), most)] = '\0';
        if (!reader->latin)
            wp_reader_warn(reader, line, label, "not UTF-8; text was read as Windows-1252");
        reader->latin = true;
    }
    clean_controls(out);
    return out;
}
