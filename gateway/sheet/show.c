#include "show.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* One run in the form cairo takes. */
struct run {
    cairo_glyph_t *glyphs;
    cairo_text_cluster_t *clusters;
    char *text;
    int glyph_count;
    int cluster_count;
    int text_size;
};

static void run_release(struct run *run)
{
    free(run->glyphs);
    free(run->clusters);
    free(run->text);
}

static bool run_reserve(struct run *run, const PangoGlyphItem *item)
{
    size_t count = (size_t)item->glyphs->num_glyphs;
    run->glyphs = calloc(count + 1, sizeof *run->glyphs);
    run->clusters = calloc(count + 1, sizeof *run->clusters);
    run->text = malloc((size_t)item->item->length + 1);
    return run->glyphs && run->clusters && run->text;
}

/* A glyph that Pango itself must draw: the box with a code of a missing letter. */
static bool has_boxes(const PangoGlyphItem *item)
{
    for (int i = 0; i < item->glyphs->num_glyphs; i++)
        if (item->glyphs->glyphs[i].glyph & PANGO_GLYPH_UNKNOWN_FLAG)
            return true;
    return false;
}

static void add_glyph(struct run *run, const PangoGlyphInfo *info, double *x, double y)
{
    if (info->glyph != PANGO_GLYPH_EMPTY) {
        cairo_glyph_t *glyph = &run->glyphs[run->glyph_count++];
        glyph->index = info->glyph;
        glyph->x = *x + (double)info->geometry.x_offset / PANGO_SCALE;
        glyph->y = y + (double)info->geometry.y_offset / PANGO_SCALE;
    }
    *x += (double)info->geometry.width / PANGO_SCALE;
}

/* Glyphs stand from left to right, so their clusters' places in the text fall. */
static void run_fill(struct run *run, const PangoGlyphItem *item, const char *text, double x,
                     double y)
{
    const PangoGlyphString *string = item->glyphs;
    int end = item->item->length;
    for (int i = 0; i < string->num_glyphs;) {
        int start = string->log_clusters[i];
        int before = run->glyph_count;
        for (; i < string->num_glyphs && string->log_clusters[i] == start; i++)
            add_glyph(run, &string->glyphs[i], &x, y);
        if (run->glyph_count > before && end > start) {
            memcpy(run->text + run->text_size, text + start, (size_t)(end - start));
            run->text_size += end - start;
            run->clusters[run->cluster_count++] =
                (cairo_text_cluster_t){end - start, run->glyph_count - before};
        }
        end = start;
    }
}

static void show_backward(cairo_t *cr, const PangoGlyphItem *item, const char *text, double x,
                          double y)
{
    struct run run;
    memset(&run, 0, sizeof run);
    if (run_reserve(&run, item)) {
        run_fill(&run, item, text, x, y);
        cairo_set_scaled_font(
            cr, pango_cairo_font_get_scaled_font(PANGO_CAIRO_FONT(item->item->analysis.font)));
        cairo_show_text_glyphs(cr, run.text, run.text_size, run.glyphs, run.glyph_count,
                               run.clusters, run.cluster_count, (cairo_text_cluster_flags_t)0);
    }
    run_release(&run);
}

static void show_run(cairo_t *cr, PangoGlyphItem *item, const char *text, double x, double y)
{
    if (item->item->analysis.level % 2 && !has_boxes(item)) {
        show_backward(cr, item, text + item->item->offset, x, y);
        return;
    }
    cairo_move_to(cr, x, y);
    pango_cairo_show_glyph_item(cr, text, item);
}

static bool has_backward(PangoLayout *layout)
{
    for (const char *p = pango_layout_get_text(layout); *p; p = g_utf8_next_char(p)) {
        gunichar c = g_utf8_get_char(p);
        if ((c >= 0x0590 && c <= 0x08FF) || (c >= 0xFB1D && c <= 0xFEFF) ||
            (c >= 0x10800 && c <= 0x10FFF) || (c >= 0x1E800 && c <= 0x1EFFF))
            return true;
    }
    return false;
}

void sheet_show(cairo_t *cr, PangoLayout *layout)
{
    if (!has_backward(layout)) {
        pango_cairo_show_layout(cr, layout);
        return;
    }
    double left, top;
    cairo_get_current_point(cr, &left, &top);
    const char *text = pango_layout_get_text(layout);
    PangoLayoutIter *iter = pango_layout_get_iter(layout);
    do {
        PangoLayoutRun *run = pango_layout_iter_get_run_readonly(iter);
        if (!run)
            continue;
        PangoRectangle box;
        pango_layout_iter_get_run_extents(iter, NULL, &box);
        double baseline = (double)pango_layout_iter_get_baseline(iter) / PANGO_SCALE;
        show_run(cr, run, text, left + (double)box.x / PANGO_SCALE, top + baseline);
    } while (pango_layout_iter_next_run(iter));
    pango_layout_iter_free(iter);
}
