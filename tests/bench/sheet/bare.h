/* bare.h - the same words and the same curve with cairo alone: what a sheet cannot cost less than.
 */
#ifndef SHEET_BARE_H
#define SHEET_BARE_H

#include "plan.h"

/* A word of the sheet, as pdftotext would find it. */
struct bare_word {
    double x, y; /* baseline, left end */
    double size;
    bool strong;
    bool up; /* turned by a quarter */
    char text[96];
};

enum { BARE_WORDS_MOST = 300 };

struct bare_page {
    struct bare_word words[BARE_WORDS_MOST];
    size_t word_count;
    const double *x; /* the curve on the page, every point of the file */
    const double *y;
    size_t count;
    const struct sheet_plan *plan;
};

/* Collects the words from the plan once, outside the measured time. */
void bare_collect(struct bare_page *page, const struct sheet_plan *plan);

/* Draws the page into a PDF in memory; returns its size. */
size_t bare_draw(const struct bare_page *page);

#endif
