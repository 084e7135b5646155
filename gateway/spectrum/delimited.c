/* Delimited text: the lines that are data, as columns. */
#include "delimited.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_POINTS 3

/* One run of data lines. */
struct section {
    const char *begin;
    const char *end;
    long line;
    size_t rows;
    size_t width;     /* fields of its first line */
    const char *torn; /* the line that ended it, NULL at the end of the text */
    double *columns[WP_COLUMNS];
    size_t room;
    bool text[WP_COLUMNS];  /* a column that has text in it */
    size_t wider, narrower; /* lines with other numbers of fields */
    double first_x, last_x;
};

static void section_free(struct section *section)
{
    for (size_t i = 0; i < WP_COLUMNS; i++)
        free(section->columns[i]);
    *section = (struct section){0};
}

static enum wp_status grow(struct wp_reader *reader, struct section *s)
{
    if (s->rows >= reader->limits->points)
        return wp_reader_fail(reader, WP_TOO_LARGE, s->line, NULL, "more than %zu points",
                              reader->limits->points);
    size_t room = s->room ? s->room + s->room / 2 : 1024;
    if (room > reader->limits->points)
        room = reader->limits->points;
    for (size_t i = 0; i < s->width; i++) {
        double *grown = realloc(s->columns[i], room * sizeof *grown);
        if (!grown)
            return wp_reader_no_memory(reader);
        s->columns[i] = grown;
    }
    s->room = room;
    return WP_OK;
}

static enum wp_status add_row(struct wp_reader *reader, struct section *s,
                              const struct wp_field *fields, size_t count)
{
    if (s->rows == s->room) {
        enum wp_status status = grow(reader, s);
        if (status)
            return status;
    }
    s->wider += count > s->width;
    s->narrower += count < s->width;
    for (size_t i = 0; i < s->width; i++) {
        if (!s->columns[i])
            return wp_reader_no_memory(reader);
        s->columns[i][s->rows] = i < count ? fields[i].value : (double)NAN;
        s->text[i] |= i < count && fields[i].kind == WP_FIELD_TEXT;
    }
    s->rows++;
    return WP_OK;
}

static bool is_blank(const char *p, const char *stop)
{
    while (p < stop && (*p == ' ' || *p == '\t' || *p == 0x1A || *p == '\0' || *p == ',' ||
                        *p == ';' || *p == '\f'))
        p++;
    return p == stop;
}

/* The next run of data lines at or after `p`; rows is 0 if there is none. */
static enum wp_status read_section(struct wp_reader *reader, const struct wp_dialect *dialect,
                                   const char *p, struct section *s)
{
    struct wp_field fields[WP_COLUMNS];
    *s = (struct section){.begin = NULL};
    for (; p < reader->end; p = wp_line_next(p, reader->end)) {
        const char *stop = wp_line_end(p, reader->end);
        if (is_blank(p, stop))
            continue;
        size_t count = wp_fields_split(dialect, p, stop, fields);
        if (!wp_fields_are_data(fields, count)) {
            if (!s->rows)
                continue;
            s->torn = p;
            break;
        }
        if (!s->rows) {
            s->begin = p;
            s->width = count;
        }
        enum wp_status status = add_row(reader, s, fields, count);
        if (status)
            return status;
    }
    s->end = p;
    if (s->rows && s->columns[0]) {
        s->first_x = s->columns[0][0];
        s->last_x = s->columns[0][s->rows - 1];
    }
    return WP_OK;
}

/* How many steps of a column go against the direction from its first to its last value. */
static size_t against(const double *x, size_t count)
{
    double way = x[count - 1] - x[0];
    size_t wrong = 0;
    for (size_t i = 1; i < count; i++)
        wrong += !((x[i] - x[i - 1]) * way > 0.0);
    return wrong;
}

/* The column of abscissae: the first one, unless that only counts the rows. */
static size_t x_column(const struct section *s)
{
    if (s->width < 3 || s->text[1] || s->text[2])
        return 0;
    double start = s->columns[0][0];
    if (start != 0.0 && start != 1.0)
        return 0;
    for (size_t i = 0; i < s->rows; i++)
        if (s->columns[0][i] != start + (double)i)
            return 0;
    return against(s->columns[1], s->rows) == 0 ? 1 : 0;
}

static enum wp_status check_x(struct wp_reader *reader, const struct section *s, size_t column)
{
    const double *x = s->columns[column];
    for (size_t i = 0; i < s->rows; i++)
        if (isnan(x[i]))
            return wp_reader_fail(reader, WP_INVALID, s->line, NULL, "point %zu has no abscissa",
                                  i + 1);
    size_t wrong = against(x, s->rows);
    if (wrong * 10 > s->rows)
        return wp_reader_fail(reader, WP_INVALID, s->line, NULL,
                              "the first column neither rises nor falls: no abscissae");
    if (wrong)
        wp_reader_warn(reader, s->line, "x", "%zu steps stand still or go back", wrong);
    return WP_OK;
}

/* A copy of the abscissae and the column of ordinates itself. */
static enum wp_status give_points(struct wp_reader *reader, struct section *s, size_t x_at,
                                  size_t y_at, struct wp_spectrum *spectrum)
{
    const double *from = s->columns[x_at];
    double *x = from ? malloc(s->rows * sizeof *x) : NULL;
    if (!x)
        return wp_reader_no_memory(reader);
    memcpy(x, from, s->rows * sizeof *x);
    spectrum->x = x;
    spectrum->y = s->columns[y_at];
    spectrum->count = s->rows;
    s->columns[y_at] = NULL;
    return WP_OK;
}

static enum wp_status add_spectrum(struct wp_reader *reader, struct section *s, size_t x_at,
                                   size_t y_at, const struct wp_dheader *header)
{
    struct wp_spectrum *spectrum = wp_reader_add(reader, s->line);
    if (!spectrum)
        return reader->out->error.status;
    enum wp_status status = wp_reader_count(reader, s->rows, s->line);
    if (!status)
        status = give_points(reader, s, x_at, y_at, spectrum);
    if (!status)
        status = wp_delimited_describe(reader, header, x_at, y_at, spectrum);
    if (status)
        wp_reader_drop(reader);
    return status;
}

static void warn_widths(struct wp_reader *reader, const struct section *s)
{
    if (s->wider)
        wp_reader_warn(reader, s->line, "",
                       "%zu lines have more than %zu fields; the rest of "
                       "them was left out",
                       s->wider, s->width);
    if (s->narrower)
        wp_reader_warn(reader, s->line, "",
                       "%zu lines have fewer than %zu fields; what is not "
                       "there was taken as missing",
                       s->narrower, s->width);
}

/* Two names over four fields of whole numbers: decimal commas between commas. Which of the commas
 * divide cannot be known for every line, so this is not guessed at. */
static enum wp_status check_commas(struct wp_reader *reader, const struct wp_dialect *dialect,
                                   const char *header_at, const struct section *s,
                                   const struct wp_dheader *header)
{
    if (dialect->separator != ',' || s->width != 4 || header->name_count)
        return WP_OK;
    struct wp_dheader two = {.name_count = 0};
    bool read = wp_dheader_read(reader, dialect, header_at, s->begin, 2, &two);
    size_t names = two.name_count;
    wp_label_list_release(&two.labels);
    if (!read)
        return wp_reader_no_memory(reader);
    if (names != 2)
        return WP_OK;
    return wp_reader_fail(reader, WP_INVALID, s->line, NULL,
                          "commas divide the columns and are decimal signs as well; export with "
                          "semicolons or decimal points");
}

static enum wp_status take_section(struct wp_reader *reader, const struct wp_dialect *dialect,
                                   const char *header_at, struct section *s)
{
    size_t x_at = x_column(s);
    enum wp_status status = check_x(reader, s, x_at);
    if (status)
        return status;
    struct wp_dheader header = {.name_count = 0};
    if (!wp_dheader_read(reader, dialect, header_at, s->begin, s->width, &header))
        status = wp_reader_no_memory(reader);
    if (!status)
        status = check_commas(reader, dialect, header_at, s, &header);
    warn_widths(reader, s);
    for (size_t i = x_at + 1; i < s->width && !status; i++) {
        if (s->text[i])
            wp_reader_warn(reader, s->line, "", "column %zu holds text and was left out", i + 1);
        else
            status = add_spectrum(reader, s, x_at, i, &header);
    }
    wp_label_list_release(&header.labels);
    return status;
}

/* True if `next` goes on where `s` was interrupted: then a line in between is damaged. */
static bool continues(const struct section *s, const struct section *next)
{
    double way = s->last_x - s->first_x;
    return (next->first_x - s->last_x) * way > 0.0 && next->width == s->width;
}

static enum wp_status read_sections(struct wp_reader *reader, const struct wp_dialect *dialect)
{
    const char *header_at = reader->begin;
    struct section s;
    enum wp_status status = read_section(reader, dialect, reader->begin, &s);
    while (!status && s.rows) {
        s.line = wp_reader_line(reader, s.begin);
        struct section next;
        status = read_section(reader, dialect, s.end, &next);
        if (!status && next.rows && s.rows >= 2 && continues(&s, &next))
            status = wp_reader_fail(reader, WP_INVALID, wp_reader_line(reader, s.torn), s.torn,
                                    "a line among the data is not a line of numbers");
        if (!status && s.rows >= LEAST_POINTS) {
            status = take_section(reader, dialect, header_at, &s);
            header_at = s.end;
        }
        if (!status && !next.rows && s.torn)
            wp_reader_warn(reader, wp_reader_line(reader, s.torn), "",
                           "text after the data was ignored");
        section_free(&s);
        s = next;
    }
    section_free(&s);
    return status;
}

enum wp_status wp_read_delimited(struct wp_reader *reader)
{
    struct wp_dialect dialect;
    size_t size = (size_t)(reader->end - reader->begin);
    if (memchr(reader->begin, 0, size < 4096 ? size : 4096))
        return wp_reader_fail(reader, WP_INVALID, 1, NULL,
                              "not a text file: it holds zero bytes (a program's own format?)");
    if (!wp_dialect_detect(reader->begin, reader->end, &dialect))
        return wp_reader_fail(reader, WP_INVALID, 1, NULL,
                              "neither JCAMP-DX nor columns of numbers");
    reader->out->format = WP_FORMAT_DELIMITED;
    (void)snprintf(reader->out->dialect, sizeof reader->out->dialect, "%s",
                   wp_dialect_text(&dialect));
    enum wp_status status = read_sections(reader, &dialect);
    if (!status && !reader->out->spectrum_count)
        return wp_reader_fail(reader, WP_INVALID, 1, NULL, "fewer than %d points", LEAST_POINTS);
    return status;
}
