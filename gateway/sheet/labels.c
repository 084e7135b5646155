#include "labels.h"

#include <math.h>
#include <stdlib.h>

/* A run of places that move together: pooled adjacent violators. */
struct pool {
    double sum;
    size_t count;
};

static double pool_mean(const struct pool *pool)
{
    return pool->sum / (double)pool->count;
}

void sheet_spread(double *places, size_t count, double pitch, double low, double high)
{
    if (!count || count > SHEET_LABELS_MOST)
        return;
    double room = high - low - pitch * (double)(count - 1);
    if (room < 0) {
        for (size_t i = 0; i < count; i++)
            places[i] = low + (high - low) * ((double)i + 0.5) / (double)count;
        return;
    }
    /* With i * pitch taken off, "at least pitch apart" becomes "not falling". */
    struct pool pools[SHEET_LABELS_MOST];
    size_t used = 0;
    for (size_t i = 0; i < count; i++) {
        pools[used++] = (struct pool){places[i] - (double)i * pitch, 1};
        while (used > 1 && pool_mean(&pools[used - 2]) >= pool_mean(&pools[used - 1])) {
            pools[used - 2].sum += pools[used - 1].sum;
            pools[used - 2].count += pools[used - 1].count;
            used--;
        }
    }
    /* Bounds on a monotone fit: cutting it off at them is still the least-squares answer. */
    size_t i = 0;
    for (size_t p = 0; p < used; p++)
        for (size_t k = 0; k < pools[p].count; k++, i++)
            places[i] = fmin(fmax(pool_mean(&pools[p]), low), low + room) + (double)i * pitch;
}

static int by_anchor(const void *left, const void *right)
{
    const struct sheet_label *a = left;
    const struct sheet_label *b = right;
    if (a->anchor != b->anchor)
        return a->anchor < b->anchor ? -1 : 1;
    return (a->weight > b->weight) - (a->weight < b->weight);
}

static void spread(struct sheet_label *labels, size_t count, const struct sheet_label_style *style,
                   const struct sheet_x *axis)
{
    double places[SHEET_LABELS_MOST];
    for (size_t i = 0; i < count; i++)
        places[i] = labels[i].anchor;
    double margin = style->pitch / 2 + style->pad;
    sheet_spread(places, count, style->pitch, axis->left + margin, axis->right - margin);
    for (size_t i = 0; i < count; i++)
        labels[i].at = places[i];
}

/* The end (exclusive) of the row of touching labels that begins at `first`. */
static size_t row_end(const struct sheet_label *labels, size_t count, size_t first,
                      const struct sheet_label_style *style)
{
    size_t end = first + 1;
    while (end < count && labels[end].at - labels[end - 1].at < style->pitch + 0.01)
        end++;
    return end;
}

/* The weakest label of the row in which one moved furthest; count if none moved too far. */
static size_t too_crowded(const struct sheet_label *labels, size_t count,
                          const struct sheet_label_style *style)
{
    double worst = style->shift;
    size_t weakest = count;
    for (size_t first = 0, end; first < count; first = end) {
        end = row_end(labels, count, first, style);
        double most = 0;
        size_t weak = first;
        for (size_t i = first; i < end; i++) {
            most = fmax(most, fabs(labels[i].at - labels[i].anchor));
            weak = labels[i].weight < labels[weak].weight ? i : weak;
        }
        if (most > worst) {
            worst = most;
            weakest = weak;
        }
    }
    return weakest;
}

static double extreme_of(const struct sheet_trace *traces, size_t trace_count, bool down,
                         double from, double to)
{
    double extreme = NAN;
    for (size_t i = 0; i < trace_count; i++) {
        double v = sheet_trace_extreme(&traces[i], down, from, to);
        extreme = down ? fmin(extreme, v) : fmax(extreme, v);
    }
    return extreme;
}

/* Height of a leader's slanting part: at least so many points, and this share of the widest move in
 * its row, so that no leader lies flat. */
#define LEADER_LEAST 3.0
#define LEADER_STEEP 0.5

/* Points between leaders that can still be told apart. */
#define TWINS 1.2

/* A stroke is half a point wide on each side, and a leader starts clear of it. */
#define STROKE 0.6

static void hang_row(struct sheet_label *row, size_t count, const struct sheet_label_style *style,
                     const struct sheet_trace *traces, size_t trace_count, bool down)
{
    double from = fmin(row[0].at - style->pitch / 2, row[0].anchor) - STROKE;
    double to = fmax(row[count - 1].at + style->pitch / 2, row[count - 1].anchor) + STROKE;
    double level = extreme_of(traces, trace_count, down, from, to);
    double moved = 0;
    for (size_t i = 0; i < count; i++)
        moved = fmax(moved, fabs(row[i].at - row[i].anchor));
    for (size_t i = 0; i < count; i++) {
        double anchor = row[i].anchor;
        double tip = extreme_of(traces, trace_count, down, anchor - STROKE, anchor + STROKE);
        row[i].level = level;
        row[i].slope = fmax(LEADER_LEAST, moved * LEADER_STEEP);
        row[i].tip = isfinite(tip) ? tip : level;
    }
}

static size_t drop(struct sheet_label *labels, size_t count, size_t index)
{
    for (size_t i = index; i + 1 < count; i++)
        labels[i] = labels[i + 1];
    return count - 1;
}

/* Bands so close that their leaders would be one line: the weaker goes. */
static size_t drop_twins(struct sheet_label *labels, size_t count)
{
    for (size_t i = 0; i + 1 < count;) {
        if (labels[i + 1].anchor - labels[i].anchor >= TWINS)
            i++;
        else
            count = drop(labels, count, labels[i].weight < labels[i + 1].weight ? i : i + 1);
    }
    return count;
}

size_t sheet_labels_place(struct sheet_label *labels, size_t count,
                          const struct sheet_label_style *style, const struct sheet_x *axis,
                          const struct sheet_trace *traces, size_t trace_count, bool down)
{
    qsort(labels, count, sizeof *labels, by_anchor);
    count = drop_twins(labels, count);
    spread(labels, count, style, axis);
    for (size_t worst; (worst = too_crowded(labels, count, style)) < count;) {
        count = drop(labels, count, worst);
        spread(labels, count, style, axis);
    }
    for (size_t first = 0, end; first < count; first = end) {
        end = row_end(labels, count, first, style);
        hang_row(labels + first, end - first, style, traces, trace_count, down);
    }
    return count;
}

double sheet_labels_gutter(const struct sheet_label *labels, size_t count,
                           const struct sheet_label_style *style, const struct sheet_y *axis)
{
    double height = axis->bottom - axis->top;
    double gutter = 0;
    for (size_t i = 0; i < count; i++) {
        double held = fmin(fmax(labels[i].level, axis->low), axis->high);
        double depth = (axis->down ? axis->high - held : held - axis->low);
        depth /= axis->high - axis->low;
        double need = style->gap + labels[i].slope + labels[i].length + style->pad;
        /* depth * (height - gutter) + need <= height */
        if (depth > 0)
            gutter = fmax(gutter, height - (height - need) / depth);
    }
    return gutter;
}

struct sheet_label_place sheet_label_on_page(const struct sheet_label *label,
                                             const struct sheet_label_style *style,
                                             const struct sheet_y *axis)
{
    double away = axis->down ? 1 : -1;
    struct sheet_label_place place;
    place.tip_y = sheet_y_at(axis, label->tip) + away * 1.5;
    place.bend_y = sheet_y_at(axis, label->level) + away * style->gap;
    place.near_y = place.bend_y + away * label->slope;
    place.far_y = place.near_y + away * label->length;
    return place;
}
