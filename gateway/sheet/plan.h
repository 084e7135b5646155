/* plan.h - everything about a sheet that is decided before anything is drawn. */
#ifndef SHEET_PLAN_H
#define SHEET_PLAN_H

#include "labels.h"
#include "text.h"

#define SHEET_TRACES_MOST (1 + WP_SHEET_OTHERS_MOST)

struct sheet_box {
    double x, y, w, h;
};

/* Type sizes in points. */
struct sheet_style {
    double name;
    double sample;
    double key;   /* what a field is called */
    double value; /* what it says */
    double tick;
    double axis;
    double label;
    double table;
    double foot;
    bool large;
};

/* One line of the table of bands. */
struct sheet_row {
    char position[16];
    const char *strength;
    const char *shape;
};

/* One spectrum in an overlay's key. */
struct sheet_key_entry {
    char words[SHEET_TEXT_ROOM];
    double x;
    double most; /* width of the words; 0: as wide as they are */
    int line;    /* 0: next to the frame */
};

struct sheet_plan {
    const struct wp_sheet_input *input;
    struct sheet_style style;
    struct sheet_label_style label_style;
    double width;
    double height;
    int pages;
    double margin;
    struct sheet_box head;
    struct sheet_box facts;
    struct sheet_box frame; /* of the plot, without its ticks */
    struct sheet_box table;
    struct sheet_box ruled;
    double foot; /* baseline of the last line */
    struct sheet_x x;
    struct sheet_y y;
    struct sheet_trace traces[SHEET_TRACES_MOST];
    size_t trace_count;
    struct sheet_label labels[SHEET_LABELS_MOST];
    size_t label_count;
    struct sheet_row rows[WP_SHEET_BANDS_MOST];
    size_t row_count;
    struct sheet_key_entry key[SHEET_TRACES_MOST]; /* as many as traces */
    int key_lines;                                 /* 0: no overlay */
    double cut_off;                                /* cm-1; 0: none inside the axis */
};

/* Checks the input and decides. On failure the plan holds nothing. */
enum wp_status sheet_plan_make(struct sheet_plan *plan, const struct wp_sheet_input *input,
                               struct sheet_painter *painter, struct wp_error *error);
void sheet_plan_release(struct sheet_plan *plan);

/* Size of the paper, lying on its long side. */
void sheet_paper_size(enum wp_sheet_paper paper, double *width, double *height);

#endif
