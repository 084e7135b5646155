/* The abscissae of an (X++(Y..Y)) table.
 *
 * They follow from FIRSTX, LASTX and NPOINTS (4.24, section 5.2); DELTAX is only nominal. Where
 * these do not agree with the points present, the X at the head of each line says which of them to
 * believe.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "jcamp.h"

typedef double pair __attribute__((vector_size(16)));

struct guess {
    double first;
    double span; /* x of point k is first + k * span / parts */
    double parts;
    size_t hits;
    double residual;
};

static void score(struct guess *guess, const struct wp_jdecoded *decoded)
{
    double step = guess->span / guess->parts;
    guess->hits = 0;
    guess->residual = 0.0;
    if (!isfinite(step) || !isfinite(guess->first))
        return;
    for (size_t i = 0; i < decoded->line_count; i++) {
        const struct wp_jline *line = &decoded->lines[i];
        double slack = 0.5 * fabs(step) + 1.0001 * line->unit;
        double off = line->x - (guess->first + (double)line->index * step);
        if (decoded->dif && fabs(off - step) < fabs(off))
            off -= step;
        guess->hits += fabs(off) <= slack;
        guess->residual += fmin(fabs(off), 4.0 * slack);
    }
}

static bool better(const struct guess *a, const struct guess *b)
{
    if (a->hits != b->hits)
        return a->hits > b->hits;
    return a->residual < b->residual * 0.999;
}

static bool convincing(const struct guess *guess, const struct wp_jdecoded *decoded)
{
    return guess->hits * 10 >= decoded->line_count * 9;
}

static struct guess from_header(const struct wp_jparams *p, size_t points)
{
    return (struct guess){.first = p->first_x,
                          .span = p->last_x - p->first_x,
                          .parts = points > 1 ? (double)(points - 1) : 1.0};
}

/* From the first and the last line alone. */
static struct guess from_lines(const struct wp_jdecoded *decoded, double first)
{
    struct guess guess = {.first = first, .span = (double)NAN, .parts = 1.0};
    const struct wp_jline *last = &decoded->last_line;
    if (decoded->line_count && last->index > decoded->lines[0].index) {
        guess.span = last->x - decoded->lines[0].x;
        guess.parts = (double)(last->index - decoded->lines[0].index);
    }
    return guess;
}

static enum wp_status fill(struct wp_reader *reader, const struct guess *guess, size_t count,
                           double **out)
{
    double *x = malloc(count * sizeof *x);
    if (!x)
        return wp_reader_no_memory(reader);
    /* Two divisions at a time: they are what this loop waits for. */
    pair first = {guess->first, guess->first};
    pair span = {guess->span, guess->span};
    pair parts = {guess->parts, guess->parts};
    pair k = {0.0, 1.0};
    size_t i = 0;
    for (; i + 2 <= count; i += 2, k += 2.0) {
        pair both = first + k * span / parts;
        memcpy(&x[i], &both, sizeof both);
    }
    if (i < count)
        x[i] = guess->first + (double)i * guess->span / guess->parts;
    *out = x;
    return WP_OK;
}

static enum wp_status unknown(struct wp_reader *reader, const struct wp_jtable *table,
                              const struct wp_jdecoded *decoded)
{
    return wp_reader_fail(reader, WP_INVALID, decoded->off_line ? decoded->off_line : table->line,
                          NULL,
                          "%s: the abscissae cannot be known: LASTX, NPOINTS and the X of the "
                          "lines do not agree",
                          table->name);
}

/* FIRSTX and LASTX exchanged: every line says so. */
static struct guess whole(struct wp_reader *reader, const struct wp_jtable *table,
                          const struct wp_jparams *params, const struct wp_jdecoded *decoded)
{
    struct guess header = from_header(params, decoded->count);
    if (decoded->line_count < 3 || decoded->lines_off * 2 < decoded->lines_total)
        return header;
    score(&header, decoded);
    if (header.hits * 2 > decoded->line_count)
        return header;
    struct guess turned = {.first = params->last_x, .span = -header.span, .parts = header.parts};
    score(&turned, decoded);
    if (!convincing(&turned, decoded))
        return header;
    wp_reader_warn(reader, table->line, "FIRSTX",
                   "FIRSTX and LASTX are exchanged; the X of the lines was followed");
    return turned;
}

static enum wp_status uneven(struct wp_reader *reader, const struct wp_jtable *table,
                             const struct wp_jparams *params, const struct wp_jdecoded *decoded,
                             struct guess *best)
{
    double first = isfinite(params->first_x) ? params->first_x : decoded->lines[0].x;
    struct guess guesses[4];
    size_t count = 0;
    if (isfinite(params->first_x) && isfinite(params->last_x)) {
        if (isfinite(params->delta_x) && params->delta_x != 0.0) {
            double sign = params->last_x < params->first_x ? -1.0 : 1.0;
            guesses[count++] =
                (struct guess){.first = first, .span = sign * fabs(params->delta_x), .parts = 1.0};
        }
        guesses[count++] = from_header(params, decoded->count);
        if (params->points_given)
            guesses[count++] = from_header(params, params->points);
    } else if (isfinite(params->delta_x) && params->delta_x != 0.0) {
        guesses[count++] = (struct guess){.first = first, .span = params->delta_x, .parts = 1.0};
    }
    size_t told = count;
    guesses[count++] = from_lines(decoded, first);
    *best = guesses[0];
    score(best, decoded);
    for (size_t i = 1; i < count; i++) {
        score(&guesses[i], decoded);
        bool lines_only = i >= told;
        if (lines_only && told && convincing(best, decoded))
            break;
        if (better(&guesses[i], best))
            *best = guesses[i];
    }
    if (!isfinite(best->span / best->parts) || (best->span == 0.0 && decoded->count > 1) ||
        !convincing(best, decoded))
        return unknown(reader, table, decoded);
    return WP_OK;
}

static void warn_missing(struct wp_reader *reader, const struct wp_jtable *table,
                         const struct wp_jparams *params)
{
    if (!isfinite(params->first_x))
        wp_reader_warn(reader, table->line, "FIRSTX", "missing; the X of the first line is used");
    if (!isfinite(params->last_x))
        wp_reader_warn(reader, table->line, "LASTX", "missing; the spacing is taken from %s",
                       isfinite(params->delta_x) ? "DELTAX" : "the X of the lines");
}

enum wp_status wp_jaxis(struct wp_reader *reader, const struct wp_jtable *table,
                        const struct wp_jparams *params, const struct wp_jdecoded *decoded,
                        double **x)
{
    size_t count = decoded->count;
    if (count == 0)
        return wp_reader_fail(reader, WP_INVALID, table->line, NULL, "%s: no ordinates",
                              table->name);
    bool fits = params->points_given && params->points == count;
    if (params->points_given && !fits)
        wp_reader_warn(reader, table->line, "NPOINTS", "NPOINTS is %zu, the table has %zu points",
                       params->points, count);
    struct guess guess;
    bool ends = isfinite(params->first_x) && isfinite(params->last_x);
    if (!ends)
        warn_missing(reader, table, params);
    if (count == 1) {
        double only = isfinite(params->first_x) ? params->first_x : decoded->lines[0].x;
        guess = (struct guess){.first = only, .span = 0.0, .parts = 1.0};
    } else if (fits && ends) {
        guess = whole(reader, table, params, decoded);
        if (guess.span == 0.0)
            return wp_reader_fail(reader, WP_INVALID, table->line, NULL,
                                  "%s: FIRSTX and LASTX are equal", table->name);
    } else {
        enum wp_status status = uneven(reader, table, params, decoded, &guess);
        if (status)
            return status;
    }
    enum wp_status status = fill(reader, &guess, count, x);
    if (!status && count > 1 && !isfinite((*x)[count - 1])) {
        free(*x);
        *x = NULL;
        return unknown(reader, table, decoded);
    }
    return status;
}
