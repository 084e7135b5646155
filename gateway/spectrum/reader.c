#include "reader.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"

const char *wp_line_end(const char *p, const char *end)
{
    while (p < end && *p != '\n' && *p != '\r')
        p++;
    return p;
}

const char *wp_line_next(const char *p, const char *end)
{
    p = wp_line_end(p, end);
    if (p + 1 < end && p[0] == '\r' && p[1] == '\n')
        return p + 2;
    return p < end ? p + 1 : end;
}

long wp_count_lines(const char *from, const char *at, const char *end, long line)
{
    for (const char *p = from; p < at; p++) {
        bool lone_cr = *p == '\r' && !(p + 1 < end && p[1] == '\n');
        line += *p == '\n' || lone_cr;
    }
    return line;
}

long wp_reader_line(struct wp_reader *reader, const char *at)
{
    if (at < reader->line_at) {
        reader->line_at = reader->begin;
        reader->line = 1;
    }
    reader->line = wp_count_lines(reader->line_at, at, reader->end, reader->line);
    reader->line_at = at;
    return reader->line;
}

void wp_reader_warn(struct wp_reader *reader, long line, const char *label, const char *format, ...)
{
    struct wp_reading *out = reader->out;
    if (!out->warnings)
        out->warnings = calloc(WP_WARNINGS_MOST, sizeof *out->warnings);
    if (!out->warnings || out->warning_count == WP_WARNINGS_MOST) {
        out->warnings_dropped++;
        return;
    }
    char text[2 * sizeof out->warnings->text];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    struct wp_warning *warning = &out->warnings[out->warning_count++];
    warning->line = line;
    wp_text_clean(label, strlen(label), warning->label, sizeof warning->label);
    wp_text_clean(text, length < 0 ? 0 : strlen(text), warning->text, sizeof warning->text);
}

static long column_of(const struct wp_reader *reader, const char *at)
{
    const char *p = at;
    while (p > reader->begin && p[-1] != '\n' && p[-1] != '\r')
        p--;
    return (long)(at - p) + 1;
}

enum wp_status wp_reader_fail(struct wp_reader *reader, enum wp_status status, long line,
                              const char *at, const char *format, ...)
{
    char text[WP_ERROR_TEXT];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (length < 0)
        text[0] = '\0';
    long column = at ? column_of(reader, at) : 0;
    return wp_fail_at(&reader->out->error, status, line, column, "%s", text);
}

enum wp_status wp_reader_no_memory(struct wp_reader *reader)
{
    return wp_fail(&reader->out->error, WP_NO_MEMORY, "out of memory");
}

struct wp_spectrum *wp_reader_add(struct wp_reader *reader, long line)
{
    struct wp_reading *out = reader->out;
    if (out->spectrum_count >= reader->limits->spectra) {
        wp_reader_fail(reader, WP_TOO_LARGE, line, NULL, "more than %zu spectra in one file",
                       reader->limits->spectra);
        return NULL;
    }
    if (out->spectrum_count == reader->spectra_room) {
        size_t room = reader->spectra_room ? reader->spectra_room * 2 : 1;
        struct wp_spectrum *grown = realloc(out->spectra, room * sizeof *grown);
        if (!grown) {
            wp_reader_no_memory(reader);
            return NULL;
        }
        out->spectra = grown;
        reader->spectra_room = room;
    }
    struct wp_spectrum *spectrum = &out->spectra[out->spectrum_count++];
    memset(spectrum, 0, sizeof *spectrum);
    spectrum->block = out->spectrum_count;
    spectrum->line = line;
    return spectrum;
}

void wp_reader_drop(struct wp_reader *reader)
{
    struct wp_reading *out = reader->out;
    if (out->spectrum_count)
        wp_spectrum_release(&out->spectra[--out->spectrum_count]);
}

enum wp_status wp_reader_count(struct wp_reader *reader, size_t points, long line)
{
    if (points > reader->limits->total - reader->total)
        return wp_reader_fail(reader, WP_TOO_LARGE, line, NULL, "more than %zu points in one file",
                              reader->limits->total);
    reader->total += points;
    return WP_OK;
}

bool wp_label_list_add(struct wp_label_list *list, const char *name, char *value, long line)
{
    if (list->count == list->room) {
        size_t room = list->room ? list->room * 2 : 32;
        struct wp_label *grown = realloc(list->items, room * sizeof *grown);
        if (!grown)
            return false;
        list->items = grown;
        list->room = room;
    }
    char *copy = strdup(name);
    if (!copy)
        return false;
    list->items[list->count++] = (struct wp_label){.name = copy, .value = value, .line = line};
    return true;
}

void wp_label_list_release(struct wp_label_list *list)
{
    for (size_t i = 0; i < list->count; i++) {
        free(list->items[i].name);
        free(list->items[i].value);
    }
    free(list->items);
    *list = (struct wp_label_list){0};
}
