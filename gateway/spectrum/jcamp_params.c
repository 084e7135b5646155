/* The labels that say how to read a table. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "jcamp.h"

const struct wp_label *wp_jblock_label(const struct wp_jblock *block, const char *name)
{
    for (size_t i = 0; i < block->labels.count; i++)
        if (block->labels.items[i].name[0] == name[0] &&
            strcmp(block->labels.items[i].name, name) == 0)
            return &block->labels.items[i];
    return NULL;
}

const char *wp_jblock_value(const struct wp_jblock *block, const char *name)
{
    const struct wp_label *label = wp_jblock_label(block, name);
    return label ? label->value : NULL;
}

bool wp_jnumber(const char *text, struct wp_decimal *number)
{
    const char *end = text + strlen(text);
    while (text < end && (*text == ' ' || *text == '\t'))
        text++;
    const char *stop = wp_decimal_read(text, end, '.', WP_EXPONENT_ANY, number);
    if (stop && *stop == ',' && stop[1] >= '0' && stop[1] <= '9' && !strchr(stop + 1, ',') &&
        !memchr(text, '.', (size_t)(stop - text)))
        stop = wp_decimal_read(text, end, ',', WP_EXPONENT_ANY, number);
    return stop && isfinite(number->value);
}

/* Reads one number; NAN if the label is missing, empty or no number. `unit` may be NULL. */
static double number(struct wp_reader *reader, const struct wp_jblock *block, const char *name,
                     double *unit)
{
    const struct wp_label *label = wp_jblock_label(block, name);
    if (unit)
        *unit = 0.0;
    if (!label || !label->value[0])
        return (double)NAN;
    struct wp_decimal read;
    if (!wp_jnumber(label->value, &read)) {
        wp_reader_warn(reader, label->line, name, "not a number: %.60s", label->value);
        return (double)NAN;
    }
    if (unit && read.exact && read.mantissa)
        *unit = wp_decimal_value(1, read.exponent);
    return read.value;
}

static double factor(struct wp_reader *reader, const struct wp_jblock *block,
                     const struct wp_jtable *table, const char *name)
{
    double value = number(reader, block, name, NULL);
    if (isnan(value) || value == 0.0) {
        const struct wp_label *label = wp_jblock_label(block, name);
        bool needed = label || table->shape == WP_JFORM_EVEN;
        if (needed)
            wp_reader_warn(reader, label ? label->line : block->line, name, "%s; 1 is used",
                           label ? "no usable factor" : "missing");
        return 1.0;
    }
    return value;
}

static enum wp_status read_points(struct wp_reader *reader, const struct wp_jblock *block,
                                  struct wp_jparams *params)
{
    const struct wp_label *label = wp_jblock_label(block, "NPOINTS");
    double points = number(reader, block, "NPOINTS", NULL);
    if (!label)
        wp_reader_warn(reader, block->line, "NPOINTS", "missing");
    if (isnan(points) || !label)
        return WP_OK;
    if (points > (double)reader->limits->points)
        return wp_reader_fail(reader, WP_TOO_LARGE, label->line, NULL,
                              "NPOINTS %.32s is more than the limit of %zu points", label->value,
                              reader->limits->points);
    if (points < 1.0 || points != floor(points)) {
        wp_reader_warn(reader, label->line, "NPOINTS", "not a count: %.60s", label->value);
        return WP_OK;
    }
    params->points = (size_t)points;
    params->points_given = true;
    return WP_OK;
}

enum wp_status wp_jparams_read(struct wp_reader *reader, const struct wp_jblock *block,
                               const struct wp_jtable *table, struct wp_jparams *params)
{
    memset(params, 0, sizeof *params);
    params->x_factor = factor(reader, block, table, "XFACTOR");
    params->y_factor = factor(reader, block, table, "YFACTOR");
    params->first_x = number(reader, block, "FIRSTX", NULL);
    params->last_x = number(reader, block, "LASTX", NULL);
    params->delta_x = number(reader, block, "DELTAX", NULL);
    params->first_y = number(reader, block, "FIRSTY", &params->first_y_unit);
    params->max_y = number(reader, block, "MAXY", &params->max_y_unit);
    params->min_y = number(reader, block, "MINY", &params->min_y_unit);
    params->max_x = number(reader, block, "MAXX", NULL);
    params->min_x = number(reader, block, "MINX", NULL);
    if (strcmp(table->name, "RADATA") == 0) {
        params->first_x = number(reader, block, "FIRSTR", NULL);
        params->last_x = number(reader, block, "LASTR", NULL);
        params->delta_x = number(reader, block, "DELTAR", NULL);
        params->x_factor = factor(reader, block, table, "RFACTOR");
        params->y_factor = factor(reader, block, table, "AFACTOR");
    }
    params->x_units = wp_jblock_value(block, "XUNITS");
    params->y_units = wp_jblock_value(block, "YUNITS");
    return read_points(reader, block, params);
}

static bool names_text(const char *name)
{
    return strcmp(name, "PEAKASSIGNMENTS") == 0;
}

static void symbol(const char *text, size_t size, const char *otherwise, char out[8])
{
    bool usable = size > 0 && size < 8 && *text;
    (void)snprintf(out, 8, "%.*s", usable ? (int)size : 1, usable ? text : otherwise);
}

void wp_jtable_form(struct wp_reader *reader, struct wp_jtable *table)
{
    char form[64];
    size_t used = 0;
    const char *p = table->form;
    const char *close = NULL;
    for (; p < table->form_end && !(p[0] == '$' && p + 1 < table->form_end && p[1] == '$'); p++) {
        if (*p == ')')
            close = p + 1;
        if (*p == ',' && used)
            break;
        if (*p == ' ' || *p == '\t' || *p == '(' || *p == ')' || *p == ',')
            continue;
        if (used + 1 < sizeof form)
            form[used++] = *p >= 'a' && *p <= 'z' ? (char)(*p - 'a' + 'A') : *p;
    }
    form[used] = '\0';
    bool letter = form[0] >= 'A' && form[0] <= 'Z';
    if (!letter) {
        bool even = strcmp(table->name, "XYDATA") == 0 || strcmp(table->name, "RADATA") == 0;
        wp_reader_warn(reader, table->line, table->name, "no variable list; (%s) is assumed",
                       even ? "X++(Y..Y)" : "XY..XY");
        (void)snprintf(form, sizeof form, "%s", even ? "X++Y..Y" : "XY..XY");
        if (used)
            table->begin = table->form, table->first_line = table->line;
    }
    char *plus = strstr(form, "++");
    if (plus) {
        table->shape = WP_JFORM_EVEN;
        table->width = 2;
        symbol(form, (size_t)(plus - form), "X", table->symbols[0]);
        symbol(plus + 2, strcspn(plus + 2, "."), "Y", table->symbols[1]);
        while (close && close < table->form_end && (*close == ' ' || *close == '\t'))
            close++;
        if (close && close < table->form_end && *close >= '0' && *close <= '9')
            table->begin = close, table->first_line = table->line;
        return;
    }
    table->shape = WP_JFORM_GROUPS;
    table->width = strspn(form, "ABCDEFGHIJKLMNOPQRSTUVWXYZ");
    if (table->width < 2 || table->width > 8)
        table->width = 2;
    symbol(form, 1, "X", table->symbols[0]);
    symbol(form + 1, 1, "Y", table->symbols[1]);
    table->text_last = names_text(table->name) && form[table->width - 1] == 'A';
}
