/* The lists of an NTUPLES block (5.00 and later): one column a variable. */
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "jcamp.h"

#define COLUMN 64

/* Copies field `index` of a comma-separated list; false if there is none. */
static bool field(const char *list, size_t index, char out[COLUMN])
{
    out[0] = '\0';
    if (!list)
        return false;
    for (; index; index--) {
        list = strchr(list, ',');
        if (!list)
            return false;
        list++;
    }
    while (*list == ' ' || *list == '\t' || *list == '\n')
        list++;
    size_t size = strcspn(list, ",\n");
    while (size && (list[size - 1] == ' ' || list[size - 1] == '\t'))
        size--;
    if (size >= COLUMN)
        size = COLUMN - 1;
    memcpy(out, list, size);
    out[size] = '\0';
    return size > 0;
}

static double field_number(const struct wp_jblock *block, const char *name, size_t index,
                           double otherwise)
{
    char text[COLUMN];
    struct wp_decimal number;
    if (!field(wp_jblock_value(block, name), index, text) || !wp_jnumber(text, &number))
        return otherwise;
    return number.value;
}

/* The column whose symbol is `symbol`; false if the block does not name it. */
static bool column_of(const struct wp_jblock *block, const char *symbol, size_t *index)
{
    const char *list = wp_jblock_value(block, "SYMBOL");
    char text[COLUMN];
    for (size_t i = 0; i < 32 && field(list, i, text); i++) {
        if (strcasecmp(text, symbol) == 0) {
            *index = i;
            return true;
        }
    }
    return false;
}

static bool contains(const char *text, const char *word)
{
    return strcasestr(text, word) != NULL;
}

static void read_count(const struct wp_jblock *block, size_t x, struct wp_jparams *params,
                       const struct wp_reader *reader)
{
    double points = field_number(block, "VARDIM", x, (double)NAN);
    if (points >= 1.0 && points <= (double)reader->limits->points && points == floor(points)) {
        params->points = (size_t)points;
        params->points_given = true;
    }
}

enum wp_status wp_jparams_ntuples(struct wp_reader *reader, const struct wp_jblock *block,
                                  const struct wp_jtable *table, struct wp_jparams *params,
                                  bool *wanted)
{
    memset(params, 0, sizeof *params);
    size_t x = 0;
    size_t y = 1;
    *wanted = true;
    bool known = column_of(block, table->symbols[0], &x);
    if (!column_of(block, table->symbols[1], &y) || !known)
        wp_reader_warn(reader, table->line, "SYMBOL",
                       "the variables of the table are not listed; the first two are used");
    char name[COLUMN];
    if (field(wp_jblock_value(block, "VARNAME"), y, name) && contains(name, "IMAG"))
        *wanted = false;
    params->x_factor = field_number(block, "FACTOR", x, 1.0);
    params->y_factor = field_number(block, "FACTOR", y, 1.0);
    if (params->x_factor == 0.0 || params->y_factor == 0.0)
        return wp_reader_fail(reader, WP_INVALID, table->line, NULL, "FACTOR is 0");
    params->first_x = field_number(block, "FIRST", x, (double)NAN);
    params->last_x = field_number(block, "LAST", x, (double)NAN);
    params->delta_x = (double)NAN;
    params->first_y = params->max_y = params->min_y = (double)NAN;
    params->max_x = params->min_x = (double)NAN;
    read_count(block, x, params, reader);
    if (field(wp_jblock_value(block, "UNITS"), x, params->units[0]))
        params->x_units = params->units[0];
    if (field(wp_jblock_value(block, "UNITS"), y, params->units[1]))
        params->y_units = params->units[1];
    return WP_OK;
}
