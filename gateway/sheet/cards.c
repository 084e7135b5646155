#include "sheet/cards.h"

#include <math.h>

#include "page.h"
#include "qr.h"
#include "render.h"

/* ISO/IEC 7810 ID-1: 85.60 mm by 53.98 mm, in points. */
#define CARD_WIDTH (85.60 / 25.4 * 72)
#define CARD_HEIGHT (53.98 / 25.4 * 72)
#define INSET 8.0
/* No printer needs more for its grippers than this many points at the top and bottom. */
#define MARGIN_LEAST 18.0
/* The picture for a phone: 360 by 480 units, three dots a unit. */
#define PHONE_WIDTH 360
#define PHONE_HEIGHT 480
#define PHONE_SCALE 3

static cairo_status_t take(void *closure, const unsigned char *data, unsigned int size)
{
    struct sheet_sink *sink = closure;
    sink->status = sink->write(sink->user, data, size);
    return sink->status ? CAIRO_STATUS_WRITE_ERROR : CAIRO_STATUS_SUCCESS;
}

static enum wp_status to_bytes(void *user, const void *data, size_t size)
{
    return wp_bytes_add(user, data, size);
}

/* A name may take up to three lines beside the code. */
static void draw_card(const struct sheet_pen *pen, const struct wp_card_face *face, double x,
                      double y)
{
    double side = CARD_HEIGHT - 2 * INSET;
    double left = x + INSET + side + 2;
    struct sheet_type type = {.size = 17, .strong = true};
    char name[SHEET_TEXT_ROOM];
    sheet_clean(face->name, name);
    cairo_rectangle(pen->cr, x, y, CARD_WIDTH, CARD_HEIGHT);
    sheet_stroke(pen->cr, 0.4, 0.6);
    sheet_qr(pen->cr, x + INSET, y + INSET, side, face->digits);
    cairo_set_source_rgb(pen->cr, 0, 0, 0);
    sheet_text_lines(pen, &type, left, y + CARD_HEIGHT / 2 - 12, x + CARD_WIDTH - INSET - left, 3,
                     name);
}

static void draw_pages(const struct sheet_pen *pen, const struct wp_card_face *faces, size_t count,
                       double width, double height)
{
    size_t rows = (size_t)((height - 2 * MARGIN_LEAST) / CARD_HEIGHT);
    double left = (width - 2 * CARD_WIDTH) / 2, top = (height - (double)rows * CARD_HEIGHT) / 2;
    for (size_t i = 0; i < count; i++) {
        size_t at = i % (2 * rows), row = at / 2;
        draw_card(pen, &faces[i], left + (double)(at % 2) * CARD_WIDTH,
                  top + (double)row * CARD_HEIGHT);
        if (at == 2 * rows - 1 || i + 1 == count)
            cairo_show_page(pen->cr);
    }
}

static enum wp_status check(const struct wp_card_face *faces, size_t count, struct wp_error *error)
{
    if (!count || count > WP_CARDS_MOST)
        return wp_fail(error, WP_INVALID, "There are 1 to %d cards, not %zu.", WP_CARDS_MOST,
                       count);
    for (size_t i = 0; i < count; i++)
        if (!sheet_qr_fits(faces[i].digits))
            return wp_fail(error, WP_INVALID, "Card %zu has a text that fits no code.", i + 1);
    return WP_OK;
}

enum wp_status wp_cards_pdf(struct wp_sheet_fonts *fonts, const struct wp_card_face *faces,
                            size_t count, enum wp_sheet_paper paper, const char *title,
                            struct wp_bytes *out, struct wp_error *error)
{
    double width = 0, height = 0;
    struct sheet_sink sink = {.write = to_bytes, .user = out};
    enum wp_status status = check(faces, count, error);
    struct sheet_painter *painter = status ? NULL : sheet_painter_borrow(fonts);
    if (!painter)
        return status ? status : wp_fail(error, WP_NO_MEMORY, "no memory for the fonts");
    sheet_paper_size(paper, &width, &height);
    cairo_surface_t *surface = sheet_pdf_new(&sink, width, height, title, "", 0);
    struct sheet_pen pen = {cairo_create(surface), painter};
    draw_pages(&pen, faces, count, width, height);
    cairo_status_t drawn = cairo_status(pen.cr);
    cairo_destroy(pen.cr);
    cairo_surface_finish(surface);
    drawn = drawn ? drawn : cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    sheet_painter_return(fonts, painter);
    return sheet_cairo_status(drawn, &sink, error);
}

static void draw_phone(const struct sheet_pen *pen, const struct wp_card_face *face)
{
    struct sheet_type type = {.size = 34, .strong = true};
    char name[SHEET_TEXT_ROOM];
    sheet_clean(face->name, name);
    cairo_scale(pen->cr, PHONE_SCALE, PHONE_SCALE);
    cairo_set_source_rgb(pen->cr, 1, 1, 1);
    cairo_paint(pen->cr);
    sheet_qr(pen->cr, 20, 20, PHONE_WIDTH - 40, face->digits);
    cairo_set_source_rgb(pen->cr, 0, 0, 0);
    sheet_text(pen, &type, PHONE_WIDTH / 2.0, PHONE_HEIGHT - 60, PHONE_WIDTH - 40, SHEET_CENTRE,
               name);
}

enum wp_status wp_cards_png(struct wp_sheet_fonts *fonts, const struct wp_card_face *face,
                            struct wp_bytes *out, struct wp_error *error)
{
    struct sheet_sink sink = {.write = to_bytes, .user = out};
    enum wp_status status = check(face, 1, error);
    struct sheet_painter *painter = status ? NULL : sheet_painter_borrow(fonts);
    if (!painter)
        return status ? status : wp_fail(error, WP_NO_MEMORY, "no memory for the fonts");
    cairo_surface_t *surface = cairo_image_surface_create(
        CAIRO_FORMAT_RGB24, PHONE_WIDTH * PHONE_SCALE, PHONE_HEIGHT * PHONE_SCALE);
    struct sheet_pen pen = {cairo_create(surface), painter};
    draw_phone(&pen, face);
    cairo_status_t drawn = cairo_status(pen.cr);
    cairo_destroy(pen.cr);
    drawn = drawn ? drawn : cairo_surface_write_to_png_stream(surface, take, &sink);
    cairo_surface_destroy(surface);
    sheet_painter_return(fonts, painter);
    return sheet_cairo_status(drawn, &sink, error);
}
