/* Decodes (XY..XY), (XYW..XYW) and (XYA) tables: pairs or groups of AFFN numbers. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "jcamp.h"

struct groups {
    struct wp_reader *reader;
    const struct wp_jtable *table;
    const struct wp_jparams *params;
    double *x, *y;
    size_t count, room, most;
    const char *line_from;
    long line;
    size_t width;    /* numbers in a group */
    size_t have;     /* of the group being read */
    const char *at;  /* where that group began */
    double group[2]; /* its x and y */
    char point;
    bool bracket; /* inside "( ... )" */
};

static long line_of(struct groups *g, const char *at)
{
    g->line = wp_count_lines(g->line_from, at, g->table->end, g->line);
    g->line_from = at;
    return g->line;
}

static enum wp_status fail(struct groups *g, const char *at, const char *text)
{
    return wp_reader_fail(g->reader, WP_INVALID, line_of(g, at), at, "%s: %s", g->table->name,
                          text);
}

static enum wp_status grow(struct groups *g)
{
    if (g->count >= g->most)
        return wp_reader_fail(g->reader, WP_TOO_LARGE, line_of(g, g->at), g->at,
                              "%s: more than %zu points in one table", g->table->name, g->most);
    size_t room = g->room ? g->room + g->room / 2 : 256;
    if (room > g->most)
        room = g->most;
    double *x = realloc(g->x, room * sizeof *x);
    if (x)
        g->x = x;
    double *y = x ? realloc(g->y, room * sizeof *y) : NULL;
    if (!y)
        return wp_reader_no_memory(g->reader);
    g->y = y;
    g->room = room;
    return WP_OK;
}

static enum wp_status close_group(struct groups *g)
{
    size_t have = g->have;
    g->have = 0;
    if (have == 0)
        return WP_OK;
    if (have < 2)
        return fail(g, g->at, "an abscissa without an ordinate");
    if (isnan(g->group[0]))
        return fail(g, g->at, "a missing abscissa");
    if (g->count == g->room) {
        enum wp_status status = grow(g);
        if (status)
            return status;
    }
    g->x[g->count] = g->group[0] * g->params->x_factor;
    g->y[g->count++] = g->group[1] * g->params->y_factor;
    return WP_OK;
}

static enum wp_status add_number(struct groups *g, const char *at, double value)
{
    if (g->have == 0)
        g->at = at;
    if (g->have < 2)
        g->group[g->have] = value;
    g->have++;
    size_t numbers = g->width - g->table->text_last;
    return g->have == numbers && !g->bracket ? close_group(g) : WP_OK;
}

static bool blank(char c)
{
    return c == ' ' || c == '\t' || c == ',' || c == '\n' || c == '\r' || c == '\f' || c == 0x1A;
}

static const char *word(const char *p, const char *end)
{
    static const char *const words[] = {"nan", "inf"};
    for (size_t i = 0; i < 2; i++)
        if (end - p >= 3 && strncasecmp(p, words[i], 3) == 0 && (end - p == 3 || blank(p[3])))
            return p + 3;
    return NULL;
}

/* One number or missing value; returns where it ends, NULL for anything else. */
static const char *one(struct groups *g, const char *p, double *value)
{
    const char *end = g->table->end;
    *value = (double)NAN;
    if (*p == '?')
        return p + 1;
    const char *after = word(p, end);
    if (after)
        return after;
    struct wp_decimal number;
    after = wp_decimal_read(p, end, g->point, WP_EXPONENT_ANY, &number);
    if (after && isfinite(number.value))
        *value = number.value;
    else
        after = NULL;
    return after;
}

static const char *skip_text(const struct groups *g, const char *p, char close)
{
    const char *end = g->table->end;
    while (p < end && *p != close)
        p++;
    return p < end ? p + 1 : end;
}

static enum wp_status step(struct groups *g, const char **at)
{
    const char *p = *at;
    const char *end = g->table->end;
    if (*p == '$' && p + 1 < end && p[1] == '$') {
        *at = wp_line_end(p, end);
        return WP_OK;
    }
    if (*p == '(') {
        g->bracket = true;
        *at = p + 1;
        return close_group(g);
    }
    if (*p == ')' || *p == ';') {
        g->bracket = g->bracket && *p != ')';
        *at = p + 1;
        if (g->have == 1)
            return fail(g, g->at, "an abscissa without an ordinate");
        return close_group(g);
    }
    if (*p == '<') {
        *at = skip_text(g, p, '>');
        return g->bracket ? WP_OK : close_group(g);
    }
    if (g->bracket && g->have >= 2 && g->table->text_last) {
        *at = skip_text(g, p, ')');
        g->bracket = false;
        return close_group(g);
    }
    double value;
    const char *after = one(g, p, &value);
    if (!after)
        return fail(g, p, "not a number");
    *at = after;
    return add_number(g, p, value);
}

/* One comma in each word and nothing but words of digits: decimal commas if that makes the number
 * of points that NPOINTS states. */
static bool decimal_commas(const struct groups *g)
{
    size_t words = 0;
    size_t commas = 0;
    const char *p = g->table->begin;
    while (p < g->table->end) {
        while (p < g->table->end && (blank(*p) || *p == ';'))
            p++;
        const char *start = p;
        size_t inside = 0;
        for (; p < g->table->end && (!blank(*p) || *p == ',') && *p != ';'; p++) {
            if (*p == '.' || *p == '$' || *p == '(')
                return false;
            inside += *p == ',' && p + 1 < g->table->end && p[1] >= '0' && p[1] <= '9';
        }
        if (inside > 1)
            return false;
        commas += inside;
        words += p > start;
    }
    return commas > 0 && g->params->points_given && words == g->params->points * g->width;
}

static enum wp_status finish(struct groups *g)
{
    if (g->have) {
        enum wp_status status = close_group(g);
        if (status)
            return status;
    }
    if (g->count == 0)
        return wp_reader_fail(g->reader, WP_INVALID, g->table->line, NULL, "%s: no points",
                              g->table->name);
    if (g->params->points_given && g->params->points != g->count)
        wp_reader_warn(g->reader, g->table->line, "NPOINTS",
                       "NPOINTS is %zu, the table has %zu points", g->params->points, g->count);
    if (g->point == ',')
        wp_reader_warn(g->reader, g->table->line, g->table->name, "decimal commas");
    for (size_t i = 0; i < g->count; i++)
        if (!isfinite(g->x[i]))
            return wp_reader_fail(g->reader, WP_INVALID, g->table->line, NULL,
                                  "%s: an abscissa beyond the range of double", g->table->name);
    return WP_OK;
}

enum wp_status wp_jgroups(struct wp_reader *reader, const struct wp_jtable *table,
                          const struct wp_jparams *params, double **x, double **y, size_t *count)
{
    struct groups g = {.reader = reader, .table = table, .params = params};
    g.line_from = table->begin;
    g.line = table->first_line;
    g.width = table->width;
    g.most = reader->limits->points;
    g.point = decimal_commas(&g) ? ',' : '.';
    enum wp_status status = WP_OK;
    const char *p = table->begin;
    while (p < table->end && !status) {
        if (blank(*p))
            p++;
        else
            status = step(&g, &p);
    }
    if (!status)
        status = finish(&g);
    if (status) {
        free(g.x);
        free(g.y);
        return status;
    }
    *x = g.x;
    *y = g.y;
    *count = g.count;
    return WP_OK;
}
