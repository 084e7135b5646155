/* A finished block becomes spectra. */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "dates.h"
#include "jcamp.h"
#include "labels.h"
#include "units.h"

#define PAGE_LABELS 64
#define PAGE_VALUE 256

struct range {
    double low, high;
};

/* Scales in place and finds the extremes; four of each so that they do not wait for one another. */
static struct range scale(double *y, size_t count, double factor)
{
    double low[4] = {INFINITY, INFINITY, INFINITY, INFINITY};
    double high[4] = {-INFINITY, -INFINITY, -INFINITY, -INFINITY};
    size_t i = 0;
    for (; i + 4 <= count; i += 4) {
        for (size_t j = 0; j < 4; j++) {
            double v = y[i + j] * factor;
            y[i + j] = v;
            low[j] = v < low[j] ? v : low[j];
            high[j] = v > high[j] ? v : high[j];
        }
    }
    for (; i < count; i++) {
        y[i] *= factor;
        low[0] = y[i] < low[0] ? y[i] : low[0];
        high[0] = y[i] > high[0] ? y[i] : high[0];
    }
    struct range range = {fmin(fmin(low[0], low[1]), fmin(low[2], low[3])),
                          fmax(fmax(high[0], high[1]), fmax(high[2], high[3]))};
    return range;
}

static void compare(struct wp_reader *reader, const struct wp_jblock *block, const char *name,
                    double said, double unit, double found, double span)
{
    if (isnan(said) || !isfinite(found))
        return;
    double off = fabs(said - found);
    if (off <= 0.001 * span + 1.0001 * unit)
        return;
    const struct wp_label *label = wp_jblock_label(block, name);
    wp_reader_warn(reader, label ? label->line : block->line, name,
                   "%s is %.8g, the data give %.8g", name, said, found);
}

static void check_extremes(struct wp_reader *reader, const struct wp_jblock *block,
                           const struct wp_jparams *params, const struct wp_spectrum *spectrum,
                           struct range range)
{
    double span = range.high - range.low;
    compare(reader, block, "MAXY", params->max_y, params->max_y_unit, range.high, span);
    compare(reader, block, "MINY", params->min_y, params->min_y_unit, range.low, span);
    compare(reader, block, "FIRSTY", params->first_y, params->first_y_unit, spectrum->y[0], span);
}

static long line_of(const struct wp_jblock *block, const char *name)
{
    const struct wp_label *label = wp_jblock_label(block, name);
    return label ? label->line : block->line;
}

static void set_units(struct wp_reader *reader, const struct wp_jblock *block,
                      const struct wp_jparams *params, struct wp_spectrum *spectrum,
                      struct range range)
{
    const char *x = params->x_units;
    const char *y = params->y_units;
    enum wp_unit_words words = wp_x_unit_read(x ? x : "", &spectrum->x_unit);
    if (!x)
        wp_reader_warn(reader, block->line, "XUNITS", "missing; the unit is not known");
    else if (words == WP_WORDS_OTHER)
        wp_reader_warn(reader, line_of(block, "XUNITS"), "XUNITS", "\"%.60s\" was taken as %s", x,
                       wp_x_unit_text(spectrum->x_unit));
    else if (words == WP_WORDS_NONE)
        wp_reader_warn(reader, line_of(block, "XUNITS"), "XUNITS", "\"%.60s\" is not known here",
                       x);
    words = wp_y_unit_read(y ? y : "", &spectrum->y_unit);
    if (!y) {
        wp_reader_warn(reader, block->line, "YUNITS", "missing; the unit is not known");
        return;
    }
    if (words == WP_WORDS_OTHER)
        wp_reader_warn(reader, line_of(block, "YUNITS"), "YUNITS", "\"%.60s\" was taken as %s", y,
                       wp_y_unit_text(spectrum->y_unit));
    else if (words == WP_WORDS_NONE)
        wp_reader_warn(reader, line_of(block, "YUNITS"), "YUNITS", "\"%.60s\" is not known here",
                       y);
    if (spectrum->y_unit == WP_Y_PERCENT && range.high <= 1.5 && range.high > 0.1)
        wp_reader_warn(reader, line_of(block, "YUNITS"), "YUNITS",
                       "no value is above %.4g; under \"%.40s\" this looks like a ratio of 0 to 1",
                       range.high, y);
    if (spectrum->y_unit == WP_Y_TRANSMITTANCE && range.high > 1.5 &&
        wp_looks_percent(spectrum->y, spectrum->count)) {
        spectrum->y_unit = WP_Y_PERCENT;
        wp_reader_warn(reader, line_of(block, "YUNITS"), "YUNITS",
                       "values up to %.6g under \"%.40s\" were taken as percent", range.high, y);
    }
}

static void set_time(struct wp_reader *reader, const struct wp_jblock *block,
                     struct wp_spectrum *spectrum)
{
    const struct wp_label *label = wp_jblock_label(block, "LONGDATE");
    if (!label || !label->value[0])
        label = wp_jblock_label(block, "DATE");
    const char *hours = wp_jblock_value(block, "TIME");
    if (!label || !label->value[0])
        return;
    enum wp_date_style style = wp_date_read(label->value, &spectrum->time);
    if (style == WP_DATE_NONE) {
        wp_reader_warn(reader, label->line, label->name, "not a date: %.60s", label->value);
        return;
    }
    if (style != WP_DATE_STANDARD)
        wp_reader_warn(reader, label->line, label->name, "\"%.40s\" is not written year first%s",
                       label->value,
                       style == WP_DATE_AMBIGUOUS ? "; the day was taken to come first" : "");
    if (!spectrum->time.has_time && hours && hours[0] && !wp_time_read(hours, &spectrum->time))
        wp_reader_warn(reader, line_of(block, "TIME"), "TIME", "not a time: %.60s", hours);
}

static void set_resolution(struct wp_reader *reader, const struct wp_jblock *block,
                           struct wp_spectrum *spectrum)
{
    const struct wp_label *label = wp_jblock_label(block, "RESOLUTION");
    spectrum->resolution = (double)NAN;
    if (!label || !label->value[0])
        return;
    struct wp_decimal number;
    bool stated_cm1 = strcasestr(label->value, "cm-1") || strcasestr(label->value, "1/cm");
    if (!wp_jnumber(label->value, &number) || number.value <= 0.0)
        wp_reader_warn(reader, label->line, "RESOLUTION", "not a number: %.60s", label->value);
    else if (spectrum->x_unit == WP_X_CM1 || stated_cm1)
        spectrum->resolution = number.value;
}

static bool says_processed(const char *text)
{
    static const char *const none[] = {"NONE", "NO", "N/A", "NOT PROCESSED", "-", "RAW", "0"};
    if (!text || !text[0])
        return false;
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++)
        if (strcasecmp(text, none[i]) == 0)
            return false;
    return true;
}

static void set_title(const struct wp_jblock *block, char **title)
{
    const char *text = wp_jblock_value(block, "TITLE");
    *title = strdup(text ? text : "");
    for (char *c = *title; c && *c; c++)
        if (*c == '\n')
            *c = ' ';
}

static enum wp_status describe(struct wp_reader *reader, const struct wp_jblock *block,
                               const struct wp_jtable *table, const struct wp_jparams *params,
                               struct wp_spectrum *spectrum, struct range range)
{
    const char *type = wp_jblock_value(block, "DATATYPE");
    set_title(block, &spectrum->title);
    if (!spectrum->title)
        return wp_reader_no_memory(reader);
    if (!type)
        wp_reader_warn(reader, block->line, "DATATYPE", "missing; the technique is not known");
    spectrum->technique = wp_technique_read(type ? type : "");
    spectrum->stated = params->points_given ? params->points : 0;
    spectrum->discrete = strncmp(table->name, "PEAK", 4) == 0;
    set_units(reader, block, params, spectrum, range);
    set_time(reader, block, spectrum);
    set_resolution(reader, block, spectrum);
    spectrum->scans = wp_labels_scans(block->labels.items, block->labels.count);
    spectrum->processed = says_processed(wp_jblock_value(block, "DATAPROCESSING"));
    check_extremes(reader, block, params, spectrum, range);
    return WP_OK;
}

/* What the first table of the file was: "JCAMP-DX 4.24, DIFDUP". */
static void say_dialect(struct wp_reader *reader, const struct wp_jblock *block, const char *form)
{
    if (reader->out->dialect[0])
        return;
    const char *version = wp_jblock_value(block, "JCAMPDX");
    int size = version ? (int)strspn(version, "0123456789.") : 0;
    char text[2 * sizeof reader->out->dialect];
    (void)snprintf(text, sizeof text, "JCAMP-DX%s%.*s, %s", size ? " " : "", size > 10 ? 10 : size,
                   size ? version : "", form);
    memcpy(reader->out->dialect, text, sizeof reader->out->dialect);
    reader->out->dialect[sizeof reader->out->dialect - 1] = '\0';
}

static const char *form_of(const struct wp_jdecoded *decoded)
{
    if (decoded->dif)
        return decoded->dup ? "DIFDUP" : "DIF";
    if (decoded->sqz)
        return decoded->dup ? "SQZDUP" : "SQZ";
    return decoded->dup ? "AFFN with DUP" : "AFFN";
}

static enum wp_status read_even(struct wp_reader *reader, const struct wp_jblock *block,
                                const struct wp_jtable *table, const struct wp_jparams *params,
                                struct wp_spectrum *spectrum)
{
    struct wp_jdecoded *decoded = malloc(sizeof *decoded);
    if (!decoded)
        return wp_reader_no_memory(reader);
    decoded->line_count = 0;
    enum wp_status status = wp_jdecode(reader, table, params, decoded);
    if (!status) {
        spectrum->y = decoded->y;
        spectrum->count = decoded->count;
        status = wp_jaxis(reader, table, params, decoded, &spectrum->x);
        spectrum->even = true;
        say_dialect(reader, block, form_of(decoded));
    }
    free(decoded);
    return status;
}

/* The first spectrum of a block gets all labels; the pages after it the short ones of its head, so
 * that many pages under many labels stay small. The only table of a block takes them over. */
static bool give_labels(struct wp_jblock *block, struct wp_spectrum *spectrum)
{
    struct wp_label *items = block->labels.items;
    size_t count = block->labels.count;
    if (block->table_count == 1) {
        spectrum->labels = items;
        spectrum->label_count = count;
        block->labels = (struct wp_label_list){.items = NULL};
        return true;
    }
    if (block->labels_given) {
        count = count < PAGE_LABELS ? count : PAGE_LABELS;
        for (size_t i = 0; i < count; i++)
            if (strlen(items[i].value) > PAGE_VALUE)
                count = i;
    }
    block->labels_given = true;
    return wp_labels_copy(items, count, &spectrum->labels, &spectrum->label_count);
}

static enum wp_status read_table(struct wp_reader *reader, struct wp_jblock *block,
                                 struct wp_jtable *table)
{
    struct wp_jparams params;
    bool wanted = true;
    wp_jtable_form(reader, table);
    enum wp_status status = table->page ? wp_jparams_ntuples(reader, block, table, &params, &wanted)
                                        : wp_jparams_read(reader, block, table, &params);
    if (status || !wanted)
        return status;
    struct wp_spectrum *spectrum = wp_reader_add(reader, block->line);
    if (!spectrum)
        return reader->out->error.status;
    struct range range = {0.0, 0.0};
    if (table->shape == WP_JFORM_EVEN) {
        status = read_even(reader, block, table, &params, spectrum);
        if (!status) {
            range = scale(spectrum->y, spectrum->count, params.y_factor);
            spectrum->y_factor = params.y_factor;
        }
    } else {
        status = wp_jgroups(reader, table, &params, &spectrum->x, &spectrum->y, &spectrum->count);
        if (!status) {
            range = scale(spectrum->y, spectrum->count, 1.0);
            say_dialect(reader, block, "(XY..XY)");
        }
    }
    if (!status)
        status = wp_reader_count(reader, spectrum->count, table->line);
    if (!status)
        status = describe(reader, block, table, &params, spectrum, range);
    if (!status && !give_labels(block, spectrum))
        status = wp_reader_no_memory(reader);
    if (status)
        wp_reader_drop(reader);
    return status;
}

static void check_block(struct wp_reader *reader, const struct wp_jblock *block)
{
    static const char *const required[] = {"TITLE", "JCAMPDX"};
    for (size_t i = 0; i < sizeof required / sizeof required[0]; i++)
        if (!wp_jblock_label(block, required[i]))
            wp_reader_warn(reader, block->line, required[i], "missing");
    if (block->labels.dropped)
        wp_reader_warn(reader, block->line, "", "%zu labels beyond the first %d were left out",
                       block->labels.dropped, WP_LABELS_MOST);
    if (block->tables_dropped)
        wp_reader_warn(reader, block->line, "", "%zu tables beyond the first %zu were left out",
                       block->tables_dropped, block->table_count);
}

static void check_link(struct wp_reader *reader, const struct wp_jblock *block)
{
    const struct wp_label *label = wp_jblock_label(block, "BLOCKS");
    struct wp_decimal said;
    if (label && wp_jnumber(label->value, &said) && said.value != (double)block->inner)
        wp_reader_warn(reader, label->line, "BLOCKS", "BLOCKS is %.30s, %zu blocks are there",
                       label->value, block->inner);
}

enum wp_status wp_jblock_finish(struct wp_reader *reader, struct wp_jblock *block)
{
    check_link(reader, block);
    if (!block->table_count) {
        if (!block->inner)
            wp_reader_warn(reader, block->line, "", "a block without a table of data points");
        return WP_OK;
    }
    check_block(reader, block);
    size_t before = reader->out->spectrum_count;
    for (size_t i = 0; i < block->table_count; i++) {
        enum wp_status status = read_table(reader, block, &block->tables[i]);
        if (status)
            return status;
    }
    if (reader->out->spectrum_count == before)
        wp_reader_warn(reader, block->line, "NTUPLES", "no page of real data");
    return WP_OK;
}
