#include "page.h"

void sheet_stroke(cairo_t *cr, double width, double grey)
{
    cairo_set_line_width(cr, width);
    cairo_set_source_rgb(cr, grey, grey, grey);
    cairo_stroke(cr);
}

void sheet_line(cairo_t *cr, double x0, double y0, double x1, double y1)
{
    cairo_move_to(cr, x0, y0);
    cairo_line_to(cr, x1, y1);
}

void sheet_page_draw(const struct sheet_pen *pen, const struct sheet_plan *plan, int page)
{
    bool single = plan->pages == 1;
    sheet_head_draw(pen, plan);
    if (page == 0)
        sheet_plot_draw(pen, plan);
    if (single || page == 1) {
        sheet_facts_draw(pen, plan);
        sheet_table_draw(pen, plan);
        sheet_ruled_draw(pen, plan);
    }
    sheet_foot_draw(pen, plan);
}
