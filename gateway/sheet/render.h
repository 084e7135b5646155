/* render.h - what one sheet and a booklet share in getting a PDF out. */
#ifndef SHEET_RENDER_H
#define SHEET_RENDER_H

#include <cairo.h>

#include "sheet/sheet.h"

/* Where the bytes go, and the first failure to put them there. */
struct sheet_sink {
    wp_sheet_write write;
    void *user;
    enum wp_status status;
};

/* A PDF surface with its metadata. The caller finishes and destroys it. */
cairo_surface_t *sheet_pdf_new(struct sheet_sink *sink, double width, double height,
                               const char *title, const char *author_id, int64_t created_us);

/* WP_OK, or what failed: the sink first, then cairo. */
enum wp_status sheet_cairo_status(cairo_status_t status, const struct sheet_sink *sink,
                                  struct wp_error *error);

#endif
