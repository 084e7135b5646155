#include "marks.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Middle of the fundamental of carbon dioxide, cm-1. */
#define AIR_POSITION 2349.0

static bool on_axis(const struct sheet_plan *plan, double position)
{
    double at = sheet_x_at(&plan->x, position);
    return at >= plan->x.left && at <= plan->x.right;
}

static const char *strength_words(enum wp_strength strength)
{
    return strength == WP_STRONG ? "strong" : strength == WP_MEDIUM ? "medium" : "weak";
}

static void add_row(struct sheet_plan *plan, const struct wp_band *band)
{
    struct sheet_row *row = &plan->rows[plan->row_count++];
    snprintf(row->position, sizeof row->position, "%ld", lround(band->position));
    row->strength = strength_words(band->strength);
    row->shape = band->shape == WP_BROAD ? "broad" : "sharp";
}

static void add_label(struct sheet_plan *plan, const struct wp_band *band)
{
    struct sheet_label *label = &plan->labels[plan->label_count++];
    *label = (struct sheet_label){.position = band->position, .weight = band->prominence};
    snprintf(label->text, sizeof label->text, "%ld%s", lround(band->position),
             band->saturated ? " off scale" : "");
    /* A cut-off tip changes the reading, so its mark outlives its neighbours. */
    label->weight += band->saturated ? 100 : 0;
}

static bool shown(const struct sheet_plan *plan, const struct wp_band *band)
{
    return !band->air && on_axis(plan, band->position);
}

/* How many of the bands that may be shown come before this one in prominence. */
static size_t rank_of(const struct sheet_plan *plan, const struct wp_examination *examination,
                      size_t index)
{
    const struct wp_band *bands = examination->bands;
    size_t rank = 0;
    for (size_t i = 0; i < examination->band_count; i++) {
        bool before = bands[i].prominence > bands[index].prominence ||
                      (bands[i].prominence == bands[index].prominence && i < index);
        rank += before && shown(plan, &bands[i]) ? 1 : 0;
    }
    return rank;
}

/* The most prominent bands in order of falling wavenumber, as the examination lists them. */
static void choose_bands(struct sheet_plan *plan, const struct wp_examination *examination)
{
    long last = 0;
    for (size_t i = 0; i < examination->band_count; i++) {
        const struct wp_band *band = &examination->bands[i];
        if (!shown(plan, band) || rank_of(plan, examination, i) >= WP_SHEET_BANDS_MOST)
            continue;
        if (plan->row_count && lround(band->position) == last)
            continue; /* nobody can tell two bands of one integer apart on paper */
        last = lround(band->position);
        add_row(plan, band);
        add_label(plan, band);
    }
}

struct peak {
    double position;
    double height;
};

/* Puts a peak among the tallest, kept in falling order of height. */
static size_t keep_tallest(struct peak *kept, size_t count, struct peak peak)
{
    size_t at = count;
    for (; at > 0 && kept[at - 1].height < peak.height; at--)
        if (at < WP_SHEET_BANDS_MOST)
            kept[at] = kept[at - 1];
    if (at < WP_SHEET_BANDS_MOST)
        kept[at] = peak;
    return count < WP_SHEET_BANDS_MOST ? count + 1 : count;
}

static int by_falling_position(const void *left, const void *right)
{
    const struct peak *a = left;
    const struct peak *b = right;
    return (a->position < b->position) - (a->position > b->position);
}

/* A peak table's own points: it has no curve to find bands in, and no shapes. */
static void choose_peaks(struct sheet_plan *plan)
{
    const struct wp_spectrum *spectrum = plan->input->spectrum;
    struct peak kept[WP_SHEET_BANDS_MOST];
    size_t count = 0;
    for (size_t i = 0; i < spectrum->count; i++) {
        double x = sheet_abscissa(spectrum, plan->x.wavenumbers, spectrum->x[i]);
        double v = sheet_value(spectrum, plan->y.ordinate, spectrum->y[i]);
        double height = plan->y.down ? 100 - v : v;
        if (isfinite(x) && isfinite(height) && height > 0 && on_axis(plan, x))
            count = keep_tallest(kept, count, (struct peak){x, height});
    }
    qsort(kept, count, sizeof *kept, by_falling_position);
    for (size_t i = 0; i < count; i++) {
        struct sheet_row *row = &plan->rows[plan->row_count++];
        struct sheet_label *label = &plan->labels[plan->label_count++];
        *label = (struct sheet_label){.position = kept[i].position, .weight = kept[i].height};
        snprintf(label->text, sizeof label->text, "%.0f", kept[i].position);
        *row = (struct sheet_row){.strength = "", .shape = ""};
        snprintf(row->position, sizeof row->position, "%.0f", kept[i].position);
    }
}

static void add_air(struct sheet_plan *plan)
{
    if (!on_axis(plan, AIR_POSITION))
        return;
    struct sheet_label *label = &plan->labels[plan->label_count++];
    *label = (struct sheet_label){.position = AIR_POSITION, .weight = INFINITY, .air = true};
    snprintf(label->text, sizeof label->text, "air");
}

void sheet_marks_take(struct sheet_plan *plan)
{
    const struct wp_examination *examination = plan->input->examination;
    if (plan->input->spectrum->discrete)
        choose_peaks(plan);
    if (!examination || !plan->x.wavenumbers || plan->input->spectrum->discrete)
        return;
    choose_bands(plan, examination);
    if (examination->air_mark)
        add_air(plan);
    double low = fmin(plan->x.first, plan->x.last);
    double high = fmax(plan->x.first, plan->x.last);
    if (examination->cut_off > low)
        plan->cut_off = fmin(examination->cut_off, high);
}
