/* Decodes a table by the standard's rule, and by others where the file shows that its writer
 * followed them. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "jcamp_decode.h"

/* True if the text ends inside a number: it may have lost digits. */
static bool ends_in_number(const struct wp_jtable *table)
{
    unsigned kind = wp_jclass[(unsigned char)table->end[-1]];
    return kind != WP_C_BLANK && kind != WP_C_LINE_END && kind != WP_C_MISSING;
}

/* A table that ends with the text and not with a line end: its last line is read from a copy. */
static enum wp_status decode_tail(struct wp_jdecoder *d, const char *tail)
{
    const struct wp_jtable *table = d->table;
    size_t size = (size_t)(table->end - tail);
    char *copy = malloc(size + 10);
    if (!copy)
        return wp_reader_no_memory(d->reader);
    memcpy(copy, tail, size);
    memset(copy + size, '\n', 10);
    d->base_line = wp_count_lines(d->base, tail, table->end, d->base_line);
    d->base = copy;
    d->safe = copy + size + 1;
    d->reach = NULL;
    enum wp_status status = wp_jdecoder_lines(d, copy, copy + size + 1);
    free(copy);
    if (!status && d->params->points_given && d->count < d->params->points && d->count > 0 &&
        ends_in_number(table) && d->form != WP_FORM_REPEATED_DIF)
        d->cut = true, d->count--;
    return status;
}

static enum wp_status decode(struct wp_jdecoder *d)
{
    const struct wp_jtable *table = d->table;
    const struct wp_reader *reader = d->reader;
    const char *tail = table->end;
    while (tail > table->begin && tail[-1] != '\n' && tail[-1] != '\r')
        tail--;
    size_t size = (size_t)(reader->end - reader->begin);
    d->safe = size >= 8 ? reader->end - 8 : NULL;
    d->reach = size >= WP_RUN_REACH ? reader->end - WP_RUN_REACH : NULL;
    enum wp_status status = wp_jdecoder_lines(d, table->begin, tail);
    if (!status && tail < table->end)
        status = decode_tail(d, tail);
    return status;
}

static size_t first_room(const struct wp_jdecoder *d)
{
    /* A point takes two bytes of text in general; repeat counts make the array grow. */
    size_t room = (size_t)(d->table->end - d->table->begin) / 2 + 16;
    if (d->params->points_given && d->params->points + 2 < room)
        room = d->params->points + 2;
    return room < d->most ? room : d->most;
}

static enum wp_status attempt(struct wp_jdecoder *d, const struct wp_jdecoder *from,
                              enum wp_check_rule rule, bool loose)
{
    *d = *from;
    d->rule = rule;
    d->loose = loose;
    d->room = first_room(d);
    d->y = malloc((d->room ? d->room : 1) * sizeof *d->y);
    if (!d->y)
        return wp_reader_no_memory(d->reader);
    d->out->line_count = 0;
    return decode(d);
}

/* A final line with nothing but a check value after a line that did not end in a difference. */
static void drop_last_repeat(struct wp_jdecoder *d)
{
    bool surplus = d->params->points_given && d->count == d->params->points + 1;
    if (surplus && d->count >= 2 && d->count - d->count_before == 1 &&
        d->y[d->count - 1] == d->y[d->count - 2] && (d->seen & (WP_SEEN_DIF | WP_SEEN_SQZ)))
        d->count--;
}

static bool fits(const struct wp_jdecoder *d)
{
    return d->failures == 0 && d->params->points_given && d->count == d->params->points;
}

/* Whether another reading of the table could fit better than the one that was made. */
static bool worth_trying(const struct wp_jdecoder *d, enum wp_check_rule rule, bool loose)
{
    if (loose)
        return d->split;
    if (rule == WP_CHECK_LITERAL)
        return d->checks > 0 && d->relayed > 0;
    return d->checks > 0;
}

/* Decodes by the standard, and where that does not fit NPOINTS and the checks, by what some
 * writers do; the first reading under which everything fits is kept. */
static enum wp_status choose(struct wp_jdecoder *d, const struct wp_jdecoder *from)
{
    static const struct {
        enum wp_check_rule rule;
        bool loose;
    } others[] = {{WP_CHECK_STANDARD, true}, {WP_CHECK_LITERAL, false}, {WP_CHECK_NEVER, false}};
    enum wp_status status = attempt(d, from, WP_CHECK_STANDARD, false);
    if (!status)
        drop_last_repeat(d);
    if (status || fits(d) || (d->failures == 0 && !d->params->points_given))
        return status;
    struct wp_jdecoded *sample = malloc(sizeof *sample);
    if (!sample)
        return wp_reader_no_memory(d->reader);
    *sample = *d->out;
    for (size_t i = 0; i < sizeof others / sizeof others[0] && !status; i++) {
        struct wp_jdecoder other;
        if (!worth_trying(d, others[i].rule, others[i].loose))
            continue;
        enum wp_status tried = attempt(&other, from, others[i].rule, others[i].loose);
        if (!tried && fits(&other)) {
            free(d->y);
            free(sample);
            *d = other;
            return WP_OK;
        }
        free(other.y);
        if (tried == WP_NO_MEMORY)
            status = tried;
        else
            d->reader->out->error = (struct wp_error){WP_OK, 0, 0, ""};
    }
    *d->out = *sample;
    free(sample);
    return status;
}

static enum wp_status judge_checks(struct wp_jdecoder *d)
{
    struct wp_reader *reader = d->reader;
    const char *name = d->table->name;
    if (d->rule != WP_CHECK_STANDARD)
        wp_reader_warn(reader, d->table->line, name,
                       "written without check values%s; NPOINTS shows it",
                       d->rule == WP_CHECK_LITERAL ? " after repeated differences" : "");
    if (d->failures == 0)
        return WP_OK;
    bool count_fits = d->params->points_given && d->count == d->params->points;
    if (d->failures == 1 && d->last_failed && d->checks > 1 && count_fits) {
        wp_reader_warn(reader, d->failure_line, name,
                       "the check value of the last line is %.10g, the last ordinate is %.10g",
                       d->failure_found, d->failure_expected);
        return WP_OK;
    }
    return wp_reader_fail(reader, WP_INVALID, d->failure_line, NULL,
                          "%s: Y-check failed: the line before ends at %.10g, this one begins "
                          "with %.10g (%zu of %zu checks failed)",
                          name, d->failure_expected, d->failure_found, d->failures, d->checks);
}

static void say_oddities(struct wp_jdecoder *d)
{
    struct wp_reader *reader = d->reader;
    const char *name = d->table->name;
    if (d->continued)
        wp_reader_warn(reader, d->continued_line, name,
                       "%zu lines begin with a difference and not with a check value",
                       d->continued);
    if (d->exponent_line)
        wp_reader_warn(reader, d->exponent_line, name,
                       "an exponent of one digit was read as an exponent");
    if (d->word_line)
        wp_reader_warn(reader, d->word_line, name,
                       "an ordinate that is no number was taken as missing");
    if (d->cut)
        wp_reader_warn(reader, wp_reader_line(reader, d->table->end), name,
                       "the file ends inside a number; that ordinate was left out");
    if (d->point == ',')
        wp_reader_warn(reader, d->table->line, name, "decimal commas");
    if (d->off_lines)
        wp_reader_warn(reader, d->off_line, name,
                       "X-check: the line says %.10g, the header gives %.10g (%zu of %zu lines)",
                       d->off_x, d->off_expected, d->off_lines, d->lines);
}

/* True if every comma of the first lines stands between digits inside a word that has no other,
 * and there is no decimal point: then they are decimal commas. */
static bool has_decimal_commas(const struct wp_jtable *table)
{
    const char *p = table->begin;
    size_t words = 0;
    size_t commas = 0;
    for (int line = 0; line < 20 && p < table->end; line++) {
        const char *stop = wp_line_end(p, table->end);
        while (p < stop) {
            while (p < stop && (*p == ' ' || *p == '\t' || *p == ';'))
                p++;
            size_t inside = 0;
            const char *word = p;
            for (; p < stop && *p != ' ' && *p != '\t' && *p != ';'; p++) {
                if (*p == '.' || *p == '$')
                    return false;
                if (*p == ',') {
                    bool between = p > word && p + 1 < stop && p[-1] >= '0' && p[-1] <= '9' &&
                                   p[1] >= '0' && p[1] <= '9';
                    if (!between || inside++)
                        return false;
                }
            }
            words += p > word;
            commas += inside;
        }
        p = wp_line_next(stop, table->end);
    }
    return commas > 0 && commas * 2 > words;
}

enum wp_status wp_jdecode(struct wp_reader *reader, const struct wp_jtable *table,
                          const struct wp_jparams *params, struct wp_jdecoded *out)
{
    struct wp_jdecoder from = {.reader = reader, .table = table, .params = params, .out = out};
    from.point = has_decimal_commas(table) ? ',' : '.';
    from.base = table->begin;
    from.base_line = table->first_line;
    from.most = reader->limits->points;
    from.stride = 1;
    from.expected_step = (double)NAN;
    if (params->points_given && params->points > 1 && isfinite(params->first_x) &&
        isfinite(params->last_x))
        from.expected_step = (params->last_x - params->first_x) / (double)(params->points - 1);
    struct wp_jdecoder d;
    enum wp_status status = choose(&d, &from);
    if (!status)
        status = judge_checks(&d);
    if (status) {
        free(d.y);
        return status;
    }
    say_oddities(&d);
    /* Repeat counts make the array grow by doubling; what is not used goes back. */
    double *fitted = d.room - d.count > 1024 ? realloc(d.y, d.count * sizeof *d.y + 1) : NULL;
    out->y = fitted ? fitted : d.y;
    out->count = d.count;
    out->last_line = d.last_line;
    out->lines_total = d.lines;
    out->lines_off = d.off_lines;
    out->off_line = d.off_line;
    out->dif = d.seen & WP_SEEN_DIF;
    out->dup = d.seen & WP_SEEN_DUP;
    out->sqz = d.seen & WP_SEEN_SQZ;
    return WP_OK;
}
