/* show.h - puts a layout on the page so that its text can be found again. */
#ifndef SHEET_SHOW_H
#define SHEET_SHOW_H

#include <pango/pangocairo.h>

/* Like pango_cairo_show_layout, with the upper left corner at the current point. Runs that are
 * written from right to left go into a PDF from left to right, letter by letter, as programs that
 * read PDFs expect them; Pango's own order makes them find gaps between the letters. */
void sheet_show(cairo_t *cr, PangoLayout *layout);

#endif
