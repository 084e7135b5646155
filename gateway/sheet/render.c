#include "render.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include <cairo-pdf.h>
#include <cairo-svg.h>

#include "page.h"

#define DOTS_USUAL 120.0
#define DOTS_LEAST 36.0
#define DOTS_MOST 600.0
#define SVG_MOST ((size_t)32 << 20)

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

enum wp_status sheet_cairo_status(cairo_status_t status, const struct sheet_sink *sink,
                                  struct wp_error *error)
{
    if (sink->status)
        return wp_fail(error, sink->status, "the drawing cannot be written: %s",
                       wp_status_name(sink->status));
    if (status == CAIRO_STATUS_NO_MEMORY)
        return wp_fail(error, WP_NO_MEMORY, "no memory to draw");
    if (status)
        return wp_fail(error, WP_IO, "drawing failed: %s", cairo_status_to_string(status));
    return WP_OK;
}

static void metadata_date(cairo_surface_t *surface, int64_t us)
{
    time_t seconds = (time_t)(us / 1000000 - (us % 1000000 < 0 ? 1 : 0));
    struct tm parts;
    char text[40];
    if (!gmtime_r(&seconds, &parts) || !strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &parts))
        return;
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, text);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_MOD_DATE, text);
}

cairo_surface_t *sheet_pdf_new(struct sheet_sink *sink, double width, double height,
                               const char *title, const char *author_id, int64_t created_us)
{
    cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(take, sink, width, height);
    char text[SHEET_TEXT_ROOM];
    sheet_clean(title, text);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, text);
    sheet_clean(author_id, text);
    if (*text)
        cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_AUTHOR, text);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "Wavepost");
    metadata_date(surface, created_us);
    return surface;
}

static cairo_status_t draw_pdf(const struct sheet_plan *plan, struct sheet_painter *painter,
                               struct sheet_sink *sink)
{
    const struct wp_sheet_input *input = plan->input;
    cairo_surface_t *surface = sheet_pdf_new(sink, plan->width, plan->height, input->accession,
                                             input->author_id, input->created_us);
    cairo_t *cr = cairo_create(surface);
    struct sheet_pen pen = {cr, painter};
    for (int page = 0; page < plan->pages; page++) {
        sheet_page_draw(&pen, plan, page);
        cairo_show_page(cr);
    }
    cairo_status_t status = cairo_status(cr);
    cairo_destroy(cr);
    cairo_surface_finish(surface);
    status = status ? status : cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    return status;
}

/* The pages one below the other. */
static cairo_status_t draw_canvas(const struct sheet_plan *plan, struct sheet_painter *painter,
                                  cairo_surface_t *surface, double scale)
{
    cairo_t *cr = cairo_create(surface);
    struct sheet_pen pen = {cr, painter};
    cairo_scale(cr, scale, scale);
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_paint(cr);
    for (int page = 0; page < plan->pages; page++) {
        cairo_save(cr);
        cairo_translate(cr, 0, page * plan->height);
        sheet_page_draw(&pen, plan, page);
        cairo_restore(cr);
    }
    cairo_status_t status = cairo_status(cr);
    cairo_destroy(cr);
    return status;
}

static cairo_status_t draw_png(const struct sheet_plan *plan, struct sheet_painter *painter,
                               struct sheet_sink *sink)
{
    double dots = plan->input->options.dots_an_inch;
    double scale = (dots > 0 ? dots : DOTS_USUAL) / 72.0;
    int width = (int)lround(plan->width * scale);
    int height = (int)lround(plan->height * plan->pages * scale);
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height);
    cairo_status_t status = draw_canvas(plan, painter, surface, scale);
    status = status ? status : cairo_surface_write_to_png_stream(surface, take, sink);
    cairo_surface_destroy(surface);
    return status;
}

/* Cairo names the page's group by a counter of the whole process; it gets a fixed name, or the same
 * sheet would differ from one call to the next. */
static enum wp_status name_group(const struct wp_bytes *svg, struct sheet_sink *sink)
{
    static const char mark[] = "<g id=\"surface";
    static const char name[] = "<g id=\"sheet";
    const char *group = svg->data ? strstr(svg->data, mark) : NULL;
    if (!group)
        return sink->write(sink->user, svg->data, svg->size);
    const char *rest = group + sizeof mark - 1;
    rest += strspn(rest, "0123456789");
    enum wp_status status = sink->write(sink->user, svg->data, (size_t)(group - svg->data));
    if (!status)
        status = sink->write(sink->user, name, sizeof name - 1);
    if (!status)
        status = sink->write(sink->user, rest, svg->size - (size_t)(rest - svg->data));
    return status;
}

static cairo_status_t draw_svg(const struct sheet_plan *plan, struct sheet_painter *painter,
                               struct sheet_sink *sink)
{
    struct wp_bytes svg;
    wp_bytes_init(&svg, SVG_MOST);
    struct sheet_sink inner = {.write = to_bytes, .user = &svg};
    cairo_surface_t *surface =
        cairo_svg_surface_create_for_stream(take, &inner, plan->width, plan->height * plan->pages);
    cairo_status_t status = draw_canvas(plan, painter, surface, 1);
    cairo_surface_finish(surface);
    status = status ? status : cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    sink->status = inner.status;
    if (!status)
        sink->status = name_group(&svg, sink);
    wp_bytes_release(&svg);
    return status;
}

static enum wp_status render(struct sheet_painter *painter, const struct wp_sheet_input *input,
                             enum wp_sheet_format format, struct wp_bytes *out,
                             struct wp_error *error)
{
    struct sheet_plan plan;
    enum wp_status status = sheet_plan_make(&plan, input, painter, error);
    if (status)
        return status;
    size_t before = out->size;
    struct sheet_sink sink = {.write = to_bytes, .user = out};
    cairo_status_t drawn = format == WP_SHEET_PDF   ? draw_pdf(&plan, painter, &sink)
                           : format == WP_SHEET_PNG ? draw_png(&plan, painter, &sink)
                                                    : draw_svg(&plan, painter, &sink);
    sheet_plan_release(&plan);
    status = sheet_cairo_status(drawn, &sink, error);
    if (status && out->data) {
        out->size = before;
        out->data[before] = '\0';
    }
    return status;
}

enum wp_status wp_sheet_render(struct wp_sheet_fonts *fonts, const struct wp_sheet_input *input,
                               enum wp_sheet_format format, struct wp_bytes *out,
                               struct wp_error *error)
{
    double dots = input->options.dots_an_inch;
    if (dots != 0 && !(dots >= DOTS_LEAST && dots <= DOTS_MOST))
        return wp_fail(error, WP_INVALID, "a picture has %g to %g dots an inch", DOTS_LEAST,
                       DOTS_MOST);
    struct sheet_painter *painter = sheet_painter_borrow(fonts);
    if (!painter)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the fonts");
    enum wp_status status = render(painter, input, format, out, error);
    sheet_painter_return(fonts, painter);
    return status;
}

int wp_sheet_fonts_missing(struct wp_sheet_fonts *fonts, const char *text)
{
    struct sheet_painter *painter = sheet_painter_borrow(fonts);
    if (!painter)
        return 0;
    char line[SHEET_TEXT_ROOM];
    sheet_clean(text, line);
    struct sheet_type type = {.size = 10};
    sheet_text_width(painter, &type, line);
    int missing = pango_layout_get_unknown_glyphs_count(painter->layout);
    sheet_painter_return(fonts, painter);
    return missing;
}
