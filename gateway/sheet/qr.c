#include "qr.h"

#include <stddef.h>

#include <qrencode.h>

/* Blank modules around the symbol that a reader needs (ISO/IEC 18004). */
#define QUIET 4

bool sheet_qr_fits(const char *text)
{
    QRcode *code = QRcode_encodeString(text, 0, QR_ECLEVEL_M, QR_MODE_8, 1);
    bool fits = code != NULL;
    QRcode_free(code);
    return fits;
}

/* Dark modules side by side become one rectangle, so that no reader of the PDF shows seams. */
static void row_path(cairo_t *cr, const QRcode *code, int row, double x, double y, double module)
{
    const unsigned char *cells = code->data + (size_t)row * (size_t)code->width;
    for (int column = 0; column < code->width;) {
        int end = column;
        while (end < code->width && (cells[end] & 1))
            end++;
        if (end > column)
            cairo_rectangle(cr, x + column * module, y, (end - column) * module, module);
        column = end > column ? end : column + 1;
    }
}

void sheet_qr(cairo_t *cr, double x, double y, double side, const char *text)
{
    QRcode *code = QRcode_encodeString(text, 0, QR_ECLEVEL_M, QR_MODE_8, 1);
    if (!code)
        return;
    double module = side / (code->width + 2 * QUIET);
    cairo_set_source_rgb(cr, 0, 0, 0);
    for (int row = 0; row < code->width; row++)
        row_path(cr, code, row, x + QUIET * module, y + (row + QUIET) * module, module);
    cairo_fill(cr);
    QRcode_free(code);
}
