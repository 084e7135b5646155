/* page.h - the parts of a page, drawn from a plan. */
#ifndef SHEET_PAGE_H
#define SHEET_PAGE_H

#include "plan.h"

/* One page of the sheet (0 is the first), its upper left corner at the origin. */
void sheet_page_draw(const struct sheet_pen *pen, const struct sheet_plan *plan, int page);

/* Its parts. */
void sheet_plot_draw(const struct sheet_pen *pen, const struct sheet_plan *plan);
void sheet_head_draw(const struct sheet_pen *pen, const struct sheet_plan *plan);
void sheet_facts_draw(const struct sheet_pen *pen, const struct sheet_plan *plan);
void sheet_table_draw(const struct sheet_pen *pen, const struct sheet_plan *plan);
void sheet_ruled_draw(const struct sheet_pen *pen, const struct sheet_plan *plan);
void sheet_foot_draw(const struct sheet_pen *pen, const struct sheet_plan *plan);

/* A straight stroke of `width` points and grey from 0 (black) to 1. */
void sheet_stroke(cairo_t *cr, double width, double grey);
void sheet_line(cairo_t *cr, double x0, double y0, double x1, double y1);

#endif
