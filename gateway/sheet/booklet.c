#include <stdio.h>
#include <string.h>

#include <cairo-pdf.h>

#include "page.h"
#include "render.h"

#define LINE 14.5 /* points from one line of the index to the next */

/* How the index is divided into pages and columns. */
struct book {
    const struct wp_booklet *booklet;
    struct sheet_pen pen;
    cairo_surface_t *surface;
    double width, height, margin;
    size_t a_column; /* lines in a column */
    size_t index_pages;
};

static void book_measure(struct book *book)
{
    sheet_paper_size(book->booklet->options.paper, &book->width, &book->height);
    book->margin = 36;
    book->a_column = (size_t)((book->height - 110 - 50) / LINE);
    size_t a_page = 2 * book->a_column;
    book->index_pages = (book->booklet->count + a_page - 1) / a_page;
}

/* The page, counted from 1, on which a sheet stands. */
static size_t page_of(const struct book *book, size_t index)
{
    return book->index_pages + index + 1;
}

static enum wp_status take_entry(const struct book *book, size_t index,
                                 struct wp_booklet_entry *entry, struct wp_error *error)
{
    *entry = (struct wp_booklet_entry){NULL, NULL, NULL};
    enum wp_status status = book->booklet->entry(book->booklet->user, index, entry);
    if (status)
        return wp_fail(error, status, "sheet %zu of the booklet cannot be listed", index + 1);
    return WP_OK;
}

static const char *persons_of(const struct wp_booklet_entry *entry)
{
    return entry->persons && *entry->persons ? entry->persons : "Unclaimed";
}

static void index_line(const struct book *book, size_t index, const struct wp_booklet_entry *entry,
                       double x, double y)
{
    double width = (book->width - 2 * book->margin - 28) / 2;
    struct sheet_type type = {.size = 9};
    struct sheet_type quiet = {.size = 9, .grey = 0.4};
    char text[SHEET_TEXT_ROOM];
    char link[32];
    snprintf(link, sizeof link, "page=%zu", page_of(book, index));
    /* Cairo 1.16 leaves a bare link's structure out of the file, and the file is damaged then;
     * inside a paragraph it is written. */
    cairo_tag_begin(book->pen.cr, "P", NULL);
    cairo_tag_begin(book->pen.cr, CAIRO_TAG_LINK, link);
    sheet_clean(persons_of(entry), text);
    sheet_text(&book->pen, &type, x, y, width * 0.42, SHEET_LEFT, text);
    sheet_clean(entry->sample, text);
    sheet_text(&book->pen, &quiet, x + width * 0.44, y, width * 0.32, SHEET_LEFT, text);
    sheet_clean(entry->accession, text);
    sheet_text(&book->pen, &quiet, x + width * 0.91, y, width * 0.14, SHEET_RIGHT, text);
    snprintf(text, sizeof text, "%zu", page_of(book, index));
    sheet_text(&book->pen, &type, x + width, y, 0, SHEET_RIGHT, text);
    cairo_tag_end(book->pen.cr, CAIRO_TAG_LINK);
    cairo_tag_end(book->pen.cr, "P");
    sheet_line(book->pen.cr, x, y + 4, x + width, y + 4);
    sheet_stroke(book->pen.cr, 0.3, 0.85);
}

static void index_head(const struct book *book, size_t page)
{
    struct sheet_type type = {.size = 18, .strong = true};
    char text[SHEET_TEXT_ROOM];
    sheet_clean(book->booklet->title, text);
    double inner = book->width - 2 * book->margin;
    sheet_text(&book->pen, &type, book->margin, 44, inner, SHEET_LEFT, text);
    type = (struct sheet_type){.size = 10, .grey = 0.4};
    sheet_clean(book->booklet->subtitle, text);
    sheet_text(&book->pen, &type, book->margin, 62, inner - 160, SHEET_LEFT, text);
    snprintf(text, sizeof text, "%zu sheets", book->booklet->count);
    if (book->index_pages > 1)
        snprintf(text, sizeof text, "%zu sheets, index %zu of %zu", book->booklet->count, page + 1,
                 book->index_pages);
    sheet_text(&book->pen, &type, book->width - book->margin, 62, 0, SHEET_RIGHT, text);
    sheet_line(book->pen.cr, book->margin, 72, book->width - book->margin, 72);
    sheet_stroke(book->pen.cr, 0.6, 0.25);
}

static enum wp_status index_draw(const struct book *book, struct wp_error *error)
{
    for (size_t i = 0; i < book->booklet->count; i++) {
        size_t a_page = 2 * book->a_column;
        if (i % a_page == 0)
            index_head(book, i / a_page);
        struct wp_booklet_entry entry;
        enum wp_status status = take_entry(book, i, &entry, error);
        if (status)
            return status;
        size_t column = i % a_page / book->a_column;
        double x = book->margin + (column ? (book->width - 2 * book->margin + 28) / 2 : 0);
        index_line(book, i, &entry, x, 96 + LINE * (double)(i % book->a_column));
        if (i % a_page == a_page - 1 || i + 1 == book->booklet->count)
            cairo_show_page(book->pen.cr);
    }
    return WP_OK;
}

static enum wp_status outline_add(const struct book *book, size_t index, struct wp_error *error)
{
    struct wp_booklet_entry entry;
    enum wp_status status = take_entry(book, index, &entry, error);
    if (status)
        return status;
    char persons[SHEET_TEXT_ROOM];
    char sample[SHEET_TEXT_ROOM];
    char line[2 * SHEET_TEXT_ROOM + 2];
    char link[32];
    sheet_clean(persons_of(&entry), persons);
    sheet_clean(entry.sample, sample);
    snprintf(line, sizeof line, "%s%s%s", persons, *sample ? ", " : "", sample);
    snprintf(link, sizeof link, "page=%zu", page_of(book, index));
    cairo_pdf_surface_add_outline(book->surface, CAIRO_PDF_OUTLINE_ROOT, line, link,
                                  (cairo_pdf_outline_flags_t)0);
    return WP_OK;
}

static enum wp_status page_draw(const struct book *book, size_t index, struct wp_error *error)
{
    const struct wp_booklet *booklet = book->booklet;
    struct wp_sheet_input input;
    memset(&input, 0, sizeof input);
    enum wp_status status = booklet->open(booklet->user, index, &input);
    if (status)
        return wp_fail(error, status, "sheet %zu of the booklet cannot be had", index + 1);
    struct wp_sheet_input drawn = input;
    drawn.options = booklet->options;
    drawn.options.large_print = false;
    struct sheet_plan plan;
    status = sheet_plan_make(&plan, &drawn, book->pen.painter, error);
    if (!status) {
        sheet_page_draw(&book->pen, &plan, 0);
        cairo_show_page(book->pen.cr);
        sheet_plan_release(&plan);
    }
    if (booklet->close)
        booklet->close(booklet->user, index, &input);
    return status;
}

static enum wp_status book_draw(const struct book *book, struct wp_error *error)
{
    enum wp_status status = index_draw(book, error);
    for (size_t i = 0; !status && i < book->booklet->count; i++) {
        status = outline_add(book, i, error);
        status = status ? status : page_draw(book, i, error);
        if (!status && cairo_status(book->pen.cr))
            return WP_OK; /* the caller reports what cairo says */
    }
    return status;
}

enum wp_status wp_sheet_booklet(struct wp_sheet_fonts *fonts, const struct wp_booklet *booklet,
                                wp_sheet_write write, void *write_user, struct wp_error *error)
{
    if (!booklet->count || booklet->count > WP_BOOKLET_MOST)
        return wp_fail(error, WP_INVALID, "a booklet has 1 to %d sheets, not %zu", WP_BOOKLET_MOST,
                       booklet->count);
    struct sheet_sink sink = {.write = write, .user = write_user};
    struct book book = {.booklet = booklet};
    book.pen.painter = sheet_painter_borrow(fonts);
    if (!book.pen.painter)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the fonts");
    book_measure(&book);
    book.surface = sheet_pdf_new(&sink, book.width, book.height, booklet->title, booklet->author_id,
                                 booklet->created_us);
    book.pen.cr = cairo_create(book.surface);
    enum wp_status status = book_draw(&book, error);
    cairo_status_t drawn = cairo_status(book.pen.cr);
    cairo_destroy(book.pen.cr);
    cairo_surface_finish(book.surface);
    drawn = drawn ? drawn : cairo_surface_status(book.surface);
    cairo_surface_destroy(book.surface);
    sheet_painter_return(fonts, book.pen.painter);
    return status ? status : sheet_cairo_status(drawn, &sink, error);
}
