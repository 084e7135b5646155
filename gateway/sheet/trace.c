#include "trace.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define COLUMN (72.0 / 300.0) /* points */

enum wp_status sheet_trace_make(struct sheet_trace *trace, const struct wp_spectrum *spectrum,
                                bool wavenumbers, enum sheet_ordinate ordinate,
                                struct wp_error *error)
{
    *trace = (struct sheet_trace){.sticks = spectrum->discrete};
    trace->x = malloc((spectrum->count + 1) * sizeof *trace->x);
    trace->v = malloc((spectrum->count + 1) * sizeof *trace->v);
    if (!trace->x || !trace->v) {
        sheet_trace_release(trace);
        return wp_fail(error, WP_NO_MEMORY, "no memory for the curve");
    }
    size_t seen = 0;
    for (size_t i = 0; i < spectrum->count; i++) {
        double x = sheet_abscissa(spectrum, wavenumbers, spectrum->x[i]);
        if (!isfinite(x))
            continue;
        trace->x[trace->count] = x;
        trace->v[trace->count] = sheet_value(spectrum, ordinate, spectrum->y[i]);
        seen += isfinite(trace->v[trace->count]) ? 1 : 0;
        trace->count++;
    }
    if (seen < 2) {
        sheet_trace_release(trace);
        return wp_fail(error, WP_INVALID, "a spectrum of fewer than two points cannot be drawn");
    }
    return WP_OK;
}

void sheet_trace_release(struct sheet_trace *trace)
{
    free(trace->x);
    free(trace->v);
    memset(trace, 0, sizeof *trace);
}

void sheet_trace_range(const struct sheet_trace *trace, double x[2], double v[2])
{
    for (size_t i = 0; i < trace->count; i++) {
        if (!isfinite(trace->v[i]))
            continue;
        x[0] = fmin(x[0], trace->x[i]);
        x[1] = fmax(x[1], trace->x[i]);
        v[0] = fmin(v[0], trace->v[i]);
        v[1] = fmax(v[1], trace->v[i]);
    }
}

static void reverse(struct sheet_trace *trace)
{
    for (size_t i = 0, j = trace->count; i + 1 < j; i++) {
        j--;
        double x = trace->x[i];
        double v = trace->v[i];
        trace->x[i] = trace->x[j];
        trace->v[i] = trace->v[j];
        trace->x[j] = x;
        trace->v[j] = v;
    }
}

struct point {
    double x, v;
    size_t order;
};

static int by_place(const void *left, const void *right)
{
    const struct point *a = left;
    const struct point *b = right;
    if (a->x != b->x)
        return a->x < b->x ? -1 : 1;
    return a->order < b->order ? -1 : 1;
}

static enum wp_status sort(struct sheet_trace *trace)
{
    struct point *points = malloc(trace->count * sizeof *points);
    if (!points)
        return WP_NO_MEMORY;
    for (size_t i = 0; i < trace->count; i++)
        points[i] = (struct point){trace->x[i], trace->v[i], i};
    qsort(points, trace->count, sizeof *points, by_place);
    for (size_t i = 0; i < trace->count; i++) {
        trace->x[i] = points[i].x;
        trace->v[i] = points[i].v;
    }
    free(points);
    return WP_OK;
}

enum wp_status sheet_trace_map(struct sheet_trace *trace, const struct sheet_x *axis)
{
    size_t kept = 0;
    for (size_t i = 0; i < trace->count; i++) {
        double at = sheet_x_at(axis, trace->x[i]);
        if (at < axis->left - 1e-9 || at > axis->right + 1e-9)
            continue;
        trace->x[kept] = at;
        trace->v[kept++] = trace->v[i];
    }
    trace->count = kept;
    if (kept > 1 && trace->x[0] > trace->x[kept - 1])
        reverse(trace);
    for (size_t i = 1; i < kept; i++)
        if (trace->x[i] < trace->x[i - 1])
            return sort(trace);
    return WP_OK;
}

/* The first point at or right of `at`. */
static size_t find(const struct sheet_trace *trace, double at)
{
    size_t low = 0;
    size_t high = trace->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (trace->x[middle] < at)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

double sheet_trace_extreme(const struct sheet_trace *trace, bool down, double from, double to)
{
    size_t i = find(trace, from);
    /* Between sticks there is nothing; a curve comes from the neighbour outside. */
    if (!trace->sticks && i > 0)
        i--;
    double extreme = NAN;
    for (; i < trace->count; i++) {
        double v = trace->v[i];
        bool outside = trace->x[i] > to;
        if (isfinite(v) && !(outside && trace->sticks))
            extreme = down ? fmin(extreme, v) : fmax(extreme, v);
        if (outside)
            break;
    }
    return extreme;
}

/* On a grid of 1/16 point (1/1152 inch) a coordinate takes half the digits in a PDF. */
static double grid(double at)
{
    return round(at * 16) / 16;
}

/* Points that a straight line passes within this many points of paper are left out. */
#define STRAIGHT 0.03

/* The line being drawn: from the last vertex, through what its slopes still allow, to the newest
 * point. */
struct line {
    cairo_t *cr;
    double from_x, from_y;
    double to_x, to_y;
    double least, most; /* slopes that pass near all points since the vertex */
    bool open;          /* a vertex is set */
    bool pending;       /* a point beyond it is waiting */
};

static void line_flush(struct line *line)
{
    if (line->pending)
        cairo_line_to(line->cr, grid(line->to_x), grid(line->to_y));
    line->from_x = line->to_x;
    line->from_y = line->to_y;
    line->least = -INFINITY;
    line->most = INFINITY;
    line->pending = false;
}

/* Begins a piece after a gap. */
static void line_begin(struct line *line, double x, double y)
{
    cairo_move_to(line->cr, grid(x), grid(y));
    line->to_x = x;
    line->to_y = y;
    line->pending = false;
    line_flush(line);
    line->open = true;
}

/* Ends a piece. A lone point shows as a dot: a line of no length with a round end. */
static void line_end(struct line *line, bool lone)
{
    if (line->open && lone)
        cairo_line_to(line->cr, grid(line->from_x), grid(line->from_y));
    if (line->open)
        line_flush(line);
    line->open = false;
}

static void line_add(struct line *line, double x, double y)
{
    double run = x - line->from_x;
    double slope = run > 0 ? (y - line->from_y) / run : 0;
    if (line->pending && (!(run > 0) || slope < line->least || slope > line->most)) {
        line_flush(line);
        run = x - line->from_x;
    }
    if (run > 0) {
        line->least = fmax(line->least, (y - STRAIGHT - line->from_y) / run);
        line->most = fmin(line->most, (y + STRAIGHT - line->from_y) / run);
    } else {
        /* Straight up or down: only this very point will do. */
        line->least = INFINITY;
        line->most = -INFINITY;
    }
    line->to_x = x;
    line->to_y = y;
    line->pending = true;
}

/* First, lowest, highest and last point of the column being filled, by index. */
struct column {
    long number;
    size_t first, low, high, last;
    bool open;
};

static void column_close(struct line *line, const struct sheet_trace *trace,
                         const struct sheet_y *axis, struct column *column)
{
    if (!column->open)
        return;
    size_t early = column->low < column->high ? column->low : column->high;
    size_t late = column->low < column->high ? column->high : column->low;
    const size_t order[4] = {column->first, early, late, column->last};
    for (int i = 0; i < 4; i++) {
        size_t point = order[i];
        if (i > 0 && point <= order[i - 1])
            continue;
        double x = trace->x[point];
        double y = sheet_y_at(axis, trace->v[point]);
        if (line->open)
            line_add(line, x, y);
        else
            line_begin(line, x, y);
    }
    column->open = false;
}

static void curve_path(cairo_t *cr, const struct sheet_trace *trace, const struct sheet_y *axis)
{
    struct line line = {.cr = cr};
    struct column column = {.open = false};
    size_t run = 0; /* points since the last gap */
    for (size_t i = 0; i < trace->count; i++) {
        if (!isfinite(trace->v[i])) {
            column_close(&line, trace, axis, &column);
            line_end(&line, run == 1);
            run = 0;
            continue;
        }
        long number = (long)floor(trace->x[i] / COLUMN);
        if (column.open && number != column.number)
            column_close(&line, trace, axis, &column);
        if (!column.open)
            column = (struct column){number, i, i, i, i, true};
        column.last = i;
        column.low = trace->v[i] < trace->v[column.low] ? i : column.low;
        column.high = trace->v[i] > trace->v[column.high] ? i : column.high;
        run++;
    }
    column_close(&line, trace, axis, &column);
    line_end(&line, run == 1);
}

static void stick_path(cairo_t *cr, const struct sheet_trace *trace, const struct sheet_y *axis)
{
    double base = sheet_y_at(axis, axis->down ? 100.0 : 0.0);
    for (size_t i = 0; i < trace->count;) {
        long number = (long)floor(trace->x[i] / COLUMN);
        size_t tallest = i;
        /* Sticks in one column lie on top of each other: the tallest shows. */
        for (; i < trace->count && (long)floor(trace->x[i] / COLUMN) == number; i++) {
            double v = trace->v[i];
            double tall = trace->v[tallest];
            if (!isfinite(tall) || (axis->down ? v < tall : v > tall))
                tallest = i;
        }
        if (!isfinite(trace->v[tallest]))
            continue;
        cairo_move_to(cr, trace->x[tallest], base);
        cairo_line_to(cr, trace->x[tallest], sheet_y_at(axis, trace->v[tallest]));
    }
}

void sheet_trace_path(cairo_t *cr, const struct sheet_trace *trace, const struct sheet_y *axis)
{
    if (trace->sticks)
        stick_path(cr, trace, axis);
    else
        curve_path(cr, trace, axis);
}
