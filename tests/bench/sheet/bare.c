#include "bare.h"

#include <math.h>
#include <stdio.h>

#include <cairo-pdf.h>

static void add(struct bare_page *page, double x, double y, double size, bool strong, bool up,
                const char *text)
{
    if (!text || !*text || page->word_count == BARE_WORDS_MOST)
        return;
    struct bare_word *word = &page->words[page->word_count++];
    *word = (struct bare_word){.x = x, .y = y, .size = size, .strong = strong, .up = up};
    snprintf(word->text, sizeof word->text, "%s", text);
}

static void collect_facts(struct bare_page *page, const struct wp_sheet_input *input)
{
    static const char *const keys[] = {
        "Course",      "Section", "Experiment", "Instrument", "Place",    "Kind",
        "Preparation", "Plates",  "Scans",      "Resolution", "Named by", "cm-1",
        "strength",    "shape",   "cm-1",       "strength",   "shape",    "Assignments, by hand"};
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
        add(page, 36 + 40.0 * (double)i, 80, 6.8, false, false, keys[i]);
    const char *const values[] = {input->course,
                                  input->section,
                                  input->experiment,
                                  input->instrument,
                                  input->place,
                                  "sample",
                                  "mull",
                                  "NaCl",
                                  "16",
                                  "4 cm-1",
                                  input->named_by};
    for (size_t i = 0; i < sizeof values / sizeof *values; i++)
        add(page, 36 + 60.0 * (double)i, 92, 9, false, false, values[i]);
    add(page, 36, 42, 18, true, false, input->persons[0]);
    add(page, 677, 42, 18, true, false, input->accession);
    add(page, 36, 62, 11.5, false, false, input->sample);
    add(page, 650, 62, 9, false, false, input->measured_at);
    add(page, 36, 569, 7.2, false, false,
        "Teaching record. Not an identification; not a safety assessment. See the SDS and local "
        "rules.");
    add(page, 700, 569, 7.2, false, false, input->file_name);
    add(page, 640, 130, 7.5, false, false, "hatched: the plates absorb below 650 cm-1");
    add(page, 400, 436, 9, false, false, "Wavenumber / cm-1");
    add(page, 44, 300, 9, false, true, "Transmittance / %");
}

static void collect_ticks(struct bare_page *page, const struct sheet_plan *plan)
{
    struct sheet_tick ticks[SHEET_TICKS_MOST];
    size_t count = sheet_x_ticks(&plan->x, 32, ticks);
    for (size_t i = 0; i < count; i++)
        add(page, ticks[i].at - 9, plan->y.bottom + 13, 8, false, false, ticks[i].text);
    count = sheet_y_ticks(&plan->y, 19.2, ticks);
    for (size_t i = 0; i < count; i++)
        add(page, plan->x.left - 20, ticks[i].at + 3, 8, false, false, ticks[i].text);
}

void bare_collect(struct bare_page *page, const struct sheet_plan *plan)
{
    page->word_count = 0;
    page->plan = plan;
    collect_facts(page, plan->input);
    collect_ticks(page, plan);
    for (size_t i = 0; i < plan->label_count; i++)
        add(page, plan->labels[i].at, sheet_y_at(&plan->y, plan->labels[i].level) + 30, 7.8, false,
            true, plan->labels[i].text);
    for (size_t i = 0; i < plan->row_count; i++) {
        double y = 460 + 10.1 * (double)(i % 10);
        double x = i < 10 ? 40 : 180;
        add(page, x, y, 8, false, false, plan->rows[i].position);
        add(page, x + 40, y, 8, false, false, plan->rows[i].strength);
        add(page, x + 84, y, 8, false, false, plan->rows[i].shape);
    }
}

static cairo_status_t count_bytes(void *closure, const unsigned char *data, unsigned int size)
{
    (void)data;
    *(size_t *)closure += size;
    return CAIRO_STATUS_SUCCESS;
}

static void draw_words(cairo_t *cr, const struct bare_page *page)
{
    cairo_set_source_rgb(cr, 0, 0, 0);
    for (size_t i = 0; i < page->word_count; i++) {
        const struct bare_word *word = &page->words[i];
        cairo_select_font_face(cr, "Open Sans", CAIRO_FONT_SLANT_NORMAL,
                               word->strong ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
        cairo_set_font_size(cr, word->size);
        cairo_save(cr);
        cairo_move_to(cr, word->x, word->y);
        if (word->up)
            cairo_rotate(cr, -1.5707963);
        cairo_show_text(cr, word->text);
        cairo_restore(cr);
    }
}

static void draw_lines(cairo_t *cr, const struct bare_page *page)
{
    const struct sheet_plan *plan = page->plan;
    cairo_set_line_width(cr, 0.5);
    cairo_rectangle(cr, plan->frame.x, plan->frame.y, plan->frame.w, plan->frame.h);
    cairo_stroke(cr);
    struct sheet_tick ticks[SHEET_TICKS_MOST];
    size_t count = sheet_x_ticks(&plan->x, 32, ticks);
    for (size_t i = 0; i < count; i++) {
        cairo_move_to(cr, ticks[i].at, plan->y.bottom);
        cairo_line_to(cr, ticks[i].at, plan->y.bottom + 4);
    }
    cairo_stroke(cr);
}

size_t bare_draw(const struct bare_page *page)
{
    size_t total = 0;
    cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(
        count_bytes, &total, page->plan->width, page->plan->height);
    cairo_t *cr = cairo_create(surface);
    draw_lines(cr, page);
    for (size_t i = 0; i < page->count; i++)
        cairo_line_to(cr, page->x[i], page->y[i]);
    cairo_set_line_width(cr, 0.85);
    cairo_stroke(cr);
    draw_words(cr, page);
    cairo_show_page(cr);
    cairo_destroy(cr);
    cairo_surface_finish(surface);
    cairo_surface_destroy(surface);
    return total;
}
