#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "key.h"
#include "page.h"
#include "spectrum/spectrum.h"

#define FRAME_GREY 0.25
#define GRID_GREY 0.86
#define WORD_GREY 0.35
#define HATCH 5.0 /* points between the lines */

/* Dashes of an overlay's curves; the first, the sheet's own, is drawn through. */
static const double dashes[SHEET_TRACES_MOST][4] = {
    {0, 0, 0, 0}, {5, 2, 5, 2}, {1.2, 1.8, 1.2, 1.8}, {7, 2, 1.2, 2}, {2.5, 2.5, 2.5, 2.5}};
static const double trace_grey[SHEET_TRACES_MOST] = {0, 0.3, 0.2, 0.4, 0.1};

static void trace_pen(cairo_t *cr, size_t index)
{
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_cap(cr, index ? CAIRO_LINE_CAP_BUTT : CAIRO_LINE_CAP_ROUND);
    cairo_set_dash(cr, dashes[index], index ? 4 : 0, 0);
}

static void draw_hatch(cairo_t *cr, const struct sheet_plan *plan)
{
    if (!(plan->cut_off > 0))
        return;
    double from = sheet_x_at(&plan->x, plan->cut_off);
    double top = plan->y.top;
    double bottom = plan->y.bottom;
    cairo_save(cr);
    cairo_rectangle(cr, from, top, plan->x.right - from, bottom - top);
    cairo_clip(cr);
    double run = bottom - top;
    int lines = (int)((plan->x.right - from + run) / HATCH) + 1;
    for (int i = 0; i < lines; i++) {
        double x = from - run + HATCH * i;
        sheet_line(cr, x, bottom, x + run, top);
    }
    sheet_stroke(cr, 0.4, 0.72);
    sheet_line(cr, from, top, from, bottom);
    sheet_stroke(cr, 0.5, 0.5);
    cairo_restore(cr);
}

static void draw_x_axis(const struct sheet_pen *pen, const struct sheet_plan *plan,
                        const struct sheet_tick *ticks, size_t count)
{
    struct sheet_type type = {.size = plan->style.tick};
    double foot = plan->y.bottom;
    for (size_t i = 0; i < count; i++)
        sheet_line(pen->cr, ticks[i].at, foot, ticks[i].at, foot + (ticks[i].major ? 4.5 : 2.5));
    sheet_stroke(pen->cr, 0.5, FRAME_GREY);
    for (size_t i = 0; i < count; i++)
        sheet_text(pen, &type, ticks[i].at, foot + 6 + type.size * 0.9, 0, SHEET_CENTRE,
                   ticks[i].text);
}

static void draw_y_axis(const struct sheet_pen *pen, const struct sheet_plan *plan,
                        const struct sheet_tick *ticks, size_t count)
{
    struct sheet_type type = {.size = plan->style.tick};
    double edge = plan->x.left;
    for (size_t i = 0; i < count; i++)
        sheet_line(pen->cr, edge, ticks[i].at, edge - (ticks[i].major ? 4 : 2.2), ticks[i].at);
    sheet_stroke(pen->cr, 0.5, FRAME_GREY);
    for (size_t i = 0; i < count; i++)
        sheet_text(pen, &type, edge - 6, ticks[i].at + type.size * 0.357, 0, SHEET_RIGHT,
                   ticks[i].text);
}

static void draw_grid(cairo_t *cr, const struct sheet_plan *plan, const struct sheet_tick *x,
                      size_t x_count, const struct sheet_tick *y, size_t y_count)
{
    double top = plan->y.down ? plan->y.top : plan->y.top + plan->y.gutter;
    double bottom = plan->y.down ? plan->y.bottom - plan->y.gutter : plan->y.bottom;
    for (size_t i = 0; i < x_count; i++)
        if (x[i].major && x[i].at > plan->x.left + 1 && x[i].at < plan->x.right - 1)
            sheet_line(cr, x[i].at, top, x[i].at, bottom);
    for (size_t i = 0; i < y_count; i++)
        if (y[i].major)
            sheet_line(cr, plan->x.left, y[i].at, plan->x.right, y[i].at);
    sheet_stroke(cr, 0.4, GRID_GREY);
}

/* The value of a label that the file itself gives, else what the technique says. */
static void own_words(const struct wp_spectrum *spectrum, const char *name, const char *otherwise,
                      char out[SHEET_TEXT_ROOM])
{
    const char *value = wp_spectrum_label(spectrum, name);
    sheet_clean(value && *value ? value : otherwise, out);
}

static void x_words(const struct sheet_plan *plan, char out[SHEET_TEXT_ROOM])
{
    const struct wp_spectrum *spectrum = plan->input->spectrum;
    bool shift = spectrum->technique == WP_RAMAN && spectrum->x_unit == WP_X_CM1;
    if (shift)
        sheet_clean("Raman shift / cm\xE2\x81\xBB\xC2\xB9", out);
    else if (plan->x.wavenumbers || spectrum->x_unit == WP_X_CM1)
        sheet_clean("Wavenumber / cm\xE2\x81\xBB\xC2\xB9", out);
    else if (spectrum->x_unit == WP_X_NM)
        sheet_clean("Wavelength / nm", out);
    else if (spectrum->x_unit == WP_X_UM)
        sheet_clean("Wavelength / \xC2\xB5m", out);
    else
        own_words(spectrum, "XUNITS", "Abscissa", out);
}

static void y_words(const struct sheet_plan *plan, char out[SHEET_TEXT_ROOM])
{
    const struct wp_spectrum *spectrum = plan->input->spectrum;
    if (plan->y.ordinate == SHEET_PERCENT)
        sheet_clean("Transmittance / %", out);
    else if (plan->y.ordinate == SHEET_ABSORB)
        sheet_clean("Absorbance", out);
    else
        own_words(spectrum, "YUNITS", spectrum->technique == WP_RAMAN ? "Intensity" : "Ordinate",
                  out);
    if (!plan->y.power)
        return;
    static const char *const digits[10] = {
        "\xE2\x81\xB0", "\xC2\xB9",     "\xC2\xB2",     "\xC2\xB3",     "\xE2\x81\xB4",
        "\xE2\x81\xB5", "\xE2\x81\xB6", "\xE2\x81\xB7", "\xE2\x81\xB8", "\xE2\x81\xB9"};
    int power = abs(plan->y.power);
    size_t size = strlen(out);
    snprintf(out + size, SHEET_TEXT_ROOM - size, " / 10%s%s%s",
             plan->y.power < 0 ? "\xE2\x81\xBB" : "", power >= 10 ? digits[power / 10 % 10] : "",
             digits[power % 10]);
}

static void draw_axis_words(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    struct sheet_type type = {.size = plan->style.axis};
    char words[SHEET_TEXT_ROOM];
    x_words(plan, words);
    double y = plan->y.bottom + 6 + plan->style.tick * 1.2 + type.size * 1.15;
    sheet_text(pen, &type, (plan->x.left + plan->x.right) / 2, y, plan->frame.w, SHEET_CENTRE,
               words);
    y_words(plan, words);
    double middle = (plan->y.top + plan->y.bottom) / 2;
    cairo_save(pen->cr);
    cairo_translate(pen->cr, plan->margin + type.size * 0.75, middle);
    cairo_rotate(pen->cr, -G_PI / 2);
    sheet_text(pen, &type, 0, 0, plan->frame.h, SHEET_CENTRE, words);
    cairo_restore(pen->cr);
}

/* Two short slanting strokes through the axis where its scale changes. */
static void draw_bend(cairo_t *cr, const struct sheet_plan *plan)
{
    if (isnan(plan->x.bend))
        return;
    for (int i = -1; i <= 1; i += 2) {
        double x = plan->x.bend_at + i * 1.3;
        sheet_line(cr, x - 1.6, plan->y.bottom + 3.2, x + 1.6, plan->y.bottom - 3.2);
    }
    sheet_stroke(cr, 0.6, FRAME_GREY);
}

static void draw_leader(cairo_t *cr, const struct sheet_plan *plan, const struct sheet_label *label)
{
    struct sheet_label_place place = sheet_label_on_page(label, &plan->label_style, &plan->y);
    double stop = place.near_y - (plan->y.down ? 1 : -1);
    cairo_move_to(cr, label->anchor, place.tip_y);
    cairo_line_to(cr, label->anchor, place.bend_y);
    cairo_line_to(cr, label->at, stop);
}

static void draw_labels(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    cairo_t *cr = pen->cr;
    double half = plan->label_style.pitch / 2;
    for (size_t i = 0; i < plan->label_count; i++) {
        const struct sheet_label *label = &plan->labels[i];
        struct sheet_label_place place = sheet_label_on_page(label, &plan->label_style, &plan->y);
        double top = fmin(place.near_y, place.far_y);
        cairo_rectangle(cr, label->at - half, top, 2 * half, label->length);
    }
    /* White under the digits: grid and hatching stay out of them. */
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_fill(cr);
    for (size_t i = 0; i < plan->label_count; i++)
        draw_leader(cr, plan, &plan->labels[i]);
    sheet_stroke(cr, 0.4, 0.45);
    for (size_t i = 0; i < plan->label_count; i++) {
        const struct sheet_label *label = &plan->labels[i];
        struct sheet_label_place place = sheet_label_on_page(label, &plan->label_style, &plan->y);
        struct sheet_type type = {.size = plan->style.label, .grey = label->air ? 0.4 : 0};
        sheet_text_up(pen, &type, label->at, fmax(place.near_y, place.far_y), label->text);
    }
}

static void draw_curves(cairo_t *cr, const struct sheet_plan *plan)
{
    cairo_save(cr);
    cairo_rectangle(cr, plan->x.left, plan->y.top, plan->frame.w, plan->frame.h);
    cairo_clip(cr);
    for (size_t i = plan->trace_count; i-- > 0;) {
        trace_pen(cr, i);
        cairo_new_path(cr);
        sheet_trace_path(cr, &plan->traces[i], &plan->y);
        sheet_stroke(cr, plan->style.large || plan->traces[i].sticks ? 1.3 : 0.85, trace_grey[i]);
    }
    cairo_restore(cr);
}

/* Above the frame, right: what the hatching means. */
static void draw_hatch_words(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    if (!(plan->cut_off > 0))
        return;
    struct sheet_type type = {.size = sheet_key_size(plan), .grey = WORD_GREY};
    char words[SHEET_HATCH_ROOM];
    sheet_hatch_words(plan->cut_off, words);
    sheet_text(pen, &type, plan->x.right, plan->y.top - 4, 0, SHEET_RIGHT, words);
}

/* Above the frame, left: a piece of each curve of an overlay and its name. */
static void draw_key(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    struct sheet_type type = {.size = sheet_key_size(plan)};
    for (size_t i = 0; plan->key_lines && i < plan->trace_count; i++) {
        const struct sheet_key_entry *entry = &plan->key[i];
        double y = plan->y.top - 4 - entry->line * type.size * SHEET_KEY_LINE;
        double middle = y - type.size * 0.33;
        cairo_save(pen->cr);
        trace_pen(pen->cr, i);
        sheet_line(pen->cr, entry->x, middle, entry->x + SHEET_KEY_PIECE, middle);
        sheet_stroke(pen->cr, 1.0, trace_grey[i]);
        cairo_restore(pen->cr);
        sheet_text(pen, &type, entry->x + SHEET_KEY_INDENT, y, entry->most, SHEET_LEFT,
                   entry->words);
    }
}

void sheet_plot_draw(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    cairo_t *cr = pen->cr;
    struct sheet_tick x[SHEET_TICKS_MOST];
    struct sheet_tick y[SHEET_TICKS_MOST];
    size_t x_count = sheet_x_ticks(&plan->x, plan->style.tick * 4, x);
    size_t y_count = sheet_y_ticks(&plan->y, plan->style.tick * 2.4, y);
    draw_grid(cr, plan, x, x_count, y, y_count);
    draw_hatch(cr, plan);
    draw_labels(pen, plan);
    draw_curves(cr, plan);
    cairo_rectangle(cr, plan->frame.x, plan->frame.y, plan->frame.w, plan->frame.h);
    sheet_stroke(cr, 0.6, FRAME_GREY);
    draw_x_axis(pen, plan, x, x_count);
    draw_y_axis(pen, plan, y, y_count);
    draw_bend(cr, plan);
    draw_axis_words(pen, plan);
    draw_hatch_words(pen, plan);
    draw_key(pen, plan);
}
