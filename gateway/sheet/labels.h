/* labels.h - which bands get a label on the plot, and where it hangs. */
#ifndef SHEET_LABELS_H
#define SHEET_LABELS_H

#include "trace.h"

/* Bands and the mark for the room's air. */
enum { SHEET_LABELS_MOST = WP_SHEET_BANDS_MOST + 1 };

struct sheet_label {
    double position; /* as the axis counts, cm-1 in the infrared */
    double weight;   /* the weakest go first where space is short */
    char text[32];
    double length; /* points, along the text */
    bool air;

    double anchor; /* where the band is on the page */
    double at;     /* where the middle of the label is */
    double tip;    /* value of the curves at the anchor, on the labels' side */
    double level;  /* deepest value above (or highest below) the whole row it hangs in */
    double slope;  /* points of height that the row's leaders take to slant */
};

/* Everything below in points. */
struct sheet_label_style {
    double pitch; /* from one label's middle to the next, at least */
    double gap;   /* from the curve to where a leader may bend */
    double pad;   /* from the label to the frame */
    double shift; /* most that a label may be moved */
};

/* Where a label's parts are on the page. `near` is the end at the leader, `far` the other; with
 * labels that hang down far > near. */
struct sheet_label_place {
    double tip_y;
    double bend_y;
    double near_y;
    double far_y;
};

/* Moves `count` places, given in rising order, as little as possible (least squares) so that they
 * are `pitch` apart and within [low, high]; if they cannot all fit they are spread evenly. */
void sheet_spread(double *places, size_t count, double pitch, double low, double high);

/* Sorts the labels, drops the weakest of those that would have to move too far, and fills `at`,
 * `tip` and `level`. Returns how many are left, at the front. */
size_t sheet_labels_place(struct sheet_label *labels, size_t count,
                          const struct sheet_label_style *style, const struct sheet_x *axis,
                          const struct sheet_trace *traces, size_t trace_count, bool down);

/* The room between the values and the frame that lets every label hang inside it. */
double sheet_labels_gutter(const struct sheet_label *labels, size_t count,
                           const struct sheet_label_style *style, const struct sheet_y *axis);

struct sheet_label_place sheet_label_on_page(const struct sheet_label *label,
                                             const struct sheet_label_style *style,
                                             const struct sheet_y *axis);

#endif
