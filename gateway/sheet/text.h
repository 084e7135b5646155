/* text.h - lines of type: cleaning, measuring, setting. */
#ifndef SHEET_TEXT_H
#define SHEET_TEXT_H

#include "fonts.h"

#define SHEET_TEXT_ROOM 768 /* bytes of one cleaned field */

struct sheet_type {
    double size; /* points */
    bool strong; /* semibold */
    double grey; /* 0 black, 1 white */
};

enum sheet_align { SHEET_LEFT, SHEET_CENTRE, SHEET_RIGHT };

/* What a drawing call passes along. */
struct sheet_pen {
    cairo_t *cr;
    struct sheet_painter *painter;
};

/* One line without control characters, without characters that steer the writing direction, and
 * with at most four marks on one letter. NULL becomes "". */
void sheet_clean(const char *text, char out[SHEET_TEXT_ROOM]);

/* Width in points of `text` set as one line. */
double sheet_text_width(struct sheet_painter *painter, const struct sheet_type *type,
                        const char *text);

/* Sets `text` as one line whose baseline is at y; x is its left end, middle or right end. Longer
 * than `most` (0: any length) it ends in an ellipsis. Returns the width taken. */
double sheet_text(const struct sheet_pen *pen, const struct sheet_type *type, double x, double y,
                  double most, enum sheet_align align, const char *text);

/* Sets `text` in up to `lines` lines of `width`, the first baseline at y, the last one ending in an
 * ellipsis if more would follow. Returns how many lines were set. */
int sheet_text_lines(const struct sheet_pen *pen, const struct sheet_type *type, double x, double y,
                     double width, int lines, const char *text);

/* Sets `text` rotated by a quarter turn against the clock: it reads upwards. Its middle line is at
 * x and it begins at the bottom y. */
void sheet_text_up(const struct sheet_pen *pen, const struct sheet_type *type, double x, double y,
                   const char *text);

#endif
