/* qr.h - a QR code as filled rectangles. */
#ifndef SHEET_QR_H
#define SHEET_QR_H

#include <cairo.h>
#include <stdbool.h>

/* True if `text` fits a QR code. */
bool sheet_qr_fits(const char *text);

/* Draws the code of `text` with its quiet zone into a square; nothing if it does not fit. */
void sheet_qr(cairo_t *cr, double x, double y, double side, const char *text);

#endif
