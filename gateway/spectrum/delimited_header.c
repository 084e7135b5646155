/* The lines before the data, and the units where they say nothing. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "dates.h"
#include "delimited.h"
#include "jcamp.h"
#include "labels.h"

enum wp_taken { WP_TAKEN_NOT, WP_TAKEN, WP_TAKEN_NO_MEMORY };

static const char *skip_mark(const char *p, const char *stop)
{
    while (p < stop && (*p == ' ' || *p == '#' || *p == '!'))
        p++;
    if (stop - p >= 2 && p[0] == '%' && p[1] == ' ')
        p++;
    if (stop - p >= 2 && p[0] == '/' && p[1] == '/')
        p += 2;
    while (p < stop && (*p == ' ' || *p == '\t'))
        p++;
    return p;
}

static bool has_letter(const char *p, const char *stop)
{
    for (; p < stop; p++)
        if ((*p >= 'A' && *p <= 'Z') || (*p >= 'a' && *p <= 'z') || *p == '%' ||
            (unsigned char)*p >= 0x80)
            return true;
    return false;
}

/* "Name: value", "Name=value", "Name<separator>value". */
static const char *divider(const struct wp_dialect *dialect, const char *p, const char *stop)
{
    for (const char *q = p; q < stop; q++)
        if (*q == '=' || *q == ':' || *q == '\t' ||
            (dialect->separator != ' ' && *q == dialect->separator))
            return q > p ? q : NULL;
    return NULL;
}

static bool add_label(struct wp_reader *reader, const struct wp_dialect *dialect, const char *p,
                      const char *stop, struct wp_dheader *header)
{
    const char *mark = divider(dialect, p, stop);
    char name[WP_JNAME];
    if (!mark || header->labels.count >= WP_LABELS_MOST)
        return true;
    wp_jname_normalise(p, (size_t)(mark - p), name);
    const char *value = mark + 1;
    while (stop > value && (stop[-1] == ' ' || stop[-1] == dialect->separator || stop[-1] == '"'))
        stop--;
    while (value < stop && *value == '"')
        value++;
    long line = wp_reader_line(reader, p);
    char *text = wp_reader_text(reader, value, (size_t)(stop - value), WP_LABEL_VALUE, line, name);
    if (!text)
        return false;
    if (wp_label_list_add(&header->labels, name, text, line))
        return true;
    free(text);
    return false;
}

/* Names parted by two or more blanks: "Wavenumber (cm-1)   %T". */
static size_t split_wide(const char *p, const char *stop, struct wp_field fields[WP_COLUMNS])
{
    size_t count = 0;
    while (p < stop && count < WP_COLUMNS) {
        const char *end = p;
        while (end < stop && !(end[0] == ' ' && (end + 1 == stop || end[1] == ' ')))
            end++;
        fields[count++] = (struct wp_field){p, end, WP_FIELD_TEXT, (double)NAN};
        for (p = end; p < stop && *p == ' ';)
            p++;
    }
    return count;
}

/* Splits a line of names into `width` fields, by the data's separator or by another; 0 if no
 * separator gives as many. */
static size_t split_names(const struct wp_dialect *dialect, const char *p, const char *stop,
                          size_t width, struct wp_field fields[WP_COLUMNS])
{
    static const char others[] = {'\t', ';', ','};
    if (wp_fields_split(dialect, p, stop, fields) == width)
        return width;
    for (size_t i = 0; i < sizeof others; i++) {
        struct wp_dialect other = {others[i], dialect->point};
        if (wp_fields_split(&other, p, stop, fields) == width)
            return width;
    }
    return split_wide(p, stop, fields) == width ? width : 0;
}

/* Takes the line as the names of the columns if the first names a unit, or on the last line before
 * the data if a later one does ("Sample,A" further up is a label). */
static enum wp_taken take_names(struct wp_reader *reader, const struct wp_dialect *dialect,
                                const char *p, const char *stop, size_t width, bool last,
                                struct wp_dheader *header)
{
    struct wp_field fields[WP_COLUMNS];
    size_t count = split_names(dialect, p, stop, width, fields);
    char names[WP_COLUMNS][WP_COLUMN_NAME];
    bool unit = false;
    long line = wp_reader_line(reader, p);
    for (size_t i = 0; i < count; i++) {
        char *text = wp_reader_text(reader, fields[i].at, (size_t)(fields[i].end - fields[i].at),
                                    WP_COLUMN_NAME - 1, line, "");
        if (!text)
            return WP_TAKEN_NO_MEMORY;
        (void)snprintf(names[i], sizeof names[i], "%s", text);
        free(text);
        enum wp_x_unit x;
        enum wp_y_unit y;
        bool x_place = i == 0 || (i == 1 && width > 2);
        unit |= x_place && wp_x_unit_read(names[i], &x) != WP_WORDS_NONE && x != WP_X_OTHER;
        unit |= last && i > 0 && wp_y_unit_read(names[i], &y) != WP_WORDS_NONE;
    }
    if (!unit)
        return WP_TAKEN_NOT;
    memcpy(header->names, names, count * sizeof names[0]);
    header->name_count = count;
    header->names_line = line;
    return WP_TAKEN;
}

static const char *last_text_line(const char *begin, const char *end)
{
    const char *last = NULL;
    for (const char *p = begin; p < end; p = wp_line_next(p, end))
        if (has_letter(p, wp_line_end(p, end)))
            last = p;
    return last;
}

bool wp_dheader_read(struct wp_reader *reader, const struct wp_dialect *dialect, const char *begin,
                     const char *end, size_t width, struct wp_dheader *header)
{
    const char *last = last_text_line(begin, end);
    for (const char *p = begin; p < end; p = wp_line_next(p, end)) {
        const char *stop = wp_line_end(p, end);
        const char *text = skip_mark(p, stop);
        if (!has_letter(text, stop))
            continue;
        enum wp_taken taken = take_names(reader, dialect, text, stop, width, p == last, header);
        if (taken == WP_TAKEN_NO_MEMORY)
            return false;
        if (taken == WP_TAKEN_NOT && !add_label(reader, dialect, text, stop, header))
            return false;
    }
    return true;
}

static const char *label_of(const struct wp_dheader *header, const char *const *names, size_t count)
{
    for (size_t j = 0; j < count; j++)
        for (size_t i = 0; i < header->labels.count; i++)
            if (strcmp(header->labels.items[i].name, names[j]) == 0)
                return header->labels.items[i].value;
    return NULL;
}
#define LABEL(header, ...)                                                                         \
    label_of(header, (const char *const[]){__VA_ARGS__},                                           \
             sizeof((const char *const[]){__VA_ARGS__}) / sizeof(char *))

static enum wp_x_unit guess_x(const struct wp_spectrum *s)
{
    double low = fmin(s->x[0], s->x[s->count - 1]);
    double high = fmax(s->x[0], s->x[s->count - 1]);
    if (low > 0.0 && high <= 100.0)
        return WP_X_UM;
    if (low >= 150.0 && high <= 1150.0)
        return WP_X_NM;
    return low >= 0.0 && high > 1150.0 && high < 30000.0 ? WP_X_CM1 : WP_X_OTHER;
}

static int by_value(const void *a, const void *b)
{
    const double *x = a;
    const double *y = b;
    return (*x > *y) - (*x < *y);
}

/* Bands of a transmittance point down from a level near the top, those of an absorbance up from
 * one near the bottom: the median tells. */
static enum wp_y_unit guess_y(const struct wp_spectrum *s)
{
    size_t stride = s->count / 2000 + 1;
    double sample[2001];
    size_t count = 0;
    for (size_t i = 0; i < s->count; i += stride)
        if (!isnan(s->y[i]))
            sample[count++] = s->y[i];
    if (count < 3)
        return WP_Y_OTHER;
    qsort(sample, count, sizeof *sample, by_value);
    double low = sample[count / 100];
    double high = sample[count - 1 - count / 100];
    double middle = sample[count / 2];
    if (high > 200.0 || low < -25.0)
        return WP_Y_OTHER;
    if (high > 10.0)
        return WP_Y_PERCENT;
    bool top = high - middle < middle - low;
    if (high <= 1.5 && top)
        return WP_Y_TRANSMITTANCE;
    return WP_Y_ABSORBANCE;
}

static void set_x_unit(struct wp_reader *reader, const struct wp_dheader *header, size_t column,
                       struct wp_spectrum *spectrum)
{
    const char *text = LABEL(header, "XUNITS", "XUNIT", "XAXIS", "XLABEL", "XAXISUNITS");
    if (column < header->name_count &&
        wp_x_unit_read(header->names[column], &spectrum->x_unit) != WP_WORDS_NONE)
        return;
    if (text && wp_x_unit_read(text, &spectrum->x_unit) != WP_WORDS_NONE)
        return;
    spectrum->x_unit = guess_x(spectrum);
    wp_reader_warn(reader, header->names_line, "x",
                   "no unit is given; by its range it was taken "
                   "as %s",
                   wp_x_unit_text(spectrum->x_unit));
}

static void set_y_unit(struct wp_reader *reader, const struct wp_dheader *header, size_t column,
                       struct wp_spectrum *spectrum)
{
    const char *text = LABEL(header, "YUNITS", "YUNIT", "YAXIS", "YLABEL", "YAXISUNITS");
    const char *from = NULL;
    if (column < header->name_count &&
        wp_y_unit_read(header->names[column], &spectrum->y_unit) != WP_WORDS_NONE)
        from = header->names[column];
    else if (text && wp_y_unit_read(text, &spectrum->y_unit) != WP_WORDS_NONE)
        from = text;
    if (!from) {
        spectrum->y_unit = guess_y(spectrum);
        wp_reader_warn(reader, header->names_line, "y",
                       "no unit is given; by its values it was "
                       "taken as %s",
                       wp_y_unit_text(spectrum->y_unit));
        return;
    }
    if (spectrum->y_unit == WP_Y_TRANSMITTANCE && wp_looks_percent(spectrum->y, spectrum->count)) {
        spectrum->y_unit = WP_Y_PERCENT;
        wp_reader_warn(reader, header->names_line, "y",
                       "values under \"%.40s\" were taken as percent", from);
    }
}

static void set_technique(const struct wp_dheader *header, struct wp_spectrum *spectrum)
{
    const char *text = LABEL(header, "DATATYPE", "TECHNIQUE", "METHOD", "SPECTRUMTYPE");
    bool raman = false;
    for (size_t i = 0; i < header->name_count; i++)
        raman |= strcasestr(header->names[i], "raman") != NULL;
    spectrum->technique = text ? wp_technique_read(text) : WP_OTHER_TECHNIQUE;
    if (raman)
        spectrum->technique = WP_RAMAN;
    if (spectrum->technique != WP_OTHER_TECHNIQUE)
        return;
    if (spectrum->x_unit == WP_X_CM1 || spectrum->x_unit == WP_X_UM)
        spectrum->technique = spectrum->y_unit == WP_Y_OTHER ? WP_OTHER_TECHNIQUE : WP_INFRARED;
    else if (spectrum->x_unit == WP_X_NM && spectrum->y_unit != WP_Y_OTHER)
        spectrum->technique = fmax(spectrum->x[0], spectrum->x[spectrum->count - 1]) > 1400.0
                                  ? WP_INFRARED
                                  : WP_UV_VIS;
}

static void set_time(struct wp_reader *reader, const struct wp_dheader *header,
                     struct wp_spectrum *spectrum)
{
    const char *date = LABEL(header, "LONGDATE", "DATE", "DATETIME", "MEASURED", "ACQUIRED",
                             "DATEMEASURED", "MEASUREMENTDATE", "CREATED");
    if (!date)
        return;
    enum wp_date_style style = wp_date_read(date, &spectrum->time);
    const char *time = LABEL(header, "TIME");
    if (style == WP_DATE_NONE)
        wp_reader_warn(reader, 0, "DATE", "not a date: %.60s", date);
    else if (style == WP_DATE_AMBIGUOUS)
        wp_reader_warn(reader, 0, "DATE", "\"%.40s\": the day was taken to come first", date);
    if (spectrum->time.present && !spectrum->time.has_time && time)
        (void)wp_time_read(time, &spectrum->time);
}

enum wp_status wp_delimited_describe(struct wp_reader *reader, const struct wp_dheader *header,
                                     size_t x_column, size_t y_column, struct wp_spectrum *spectrum)
{
    const char *title = LABEL(header, "TITLE", "SAMPLE", "SAMPLENAME", "NAME", "SAMPLEID");
    spectrum->title = strdup(title ? title : "");
    if (!spectrum->title)
        return wp_reader_no_memory(reader);
    set_x_unit(reader, header, x_column, spectrum);
    set_y_unit(reader, header, y_column, spectrum);
    set_technique(header, spectrum);
    set_time(reader, header, spectrum);
    spectrum->resolution = (double)NAN;
    const char *resolution = LABEL(header, "RESOLUTION");
    struct wp_decimal number;
    if (resolution && wp_jnumber(resolution, &number) && number.value > 0.0)
        spectrum->resolution = number.value;
    spectrum->scans = wp_labels_scans(header->labels.items, header->labels.count);
    if (!wp_labels_copy(header->labels.items, header->labels.count, &spectrum->labels,
                        &spectrum->label_count))
        return wp_reader_no_memory(reader);
    return WP_OK;
}
