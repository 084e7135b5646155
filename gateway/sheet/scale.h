/* scale.h - from values to points on the page, and where the ticks stand. */
#ifndef SHEET_SCALE_H
#define SHEET_SCALE_H

#include "sheet/sheet.h"

/* What the ordinate shows. */
enum sheet_ordinate { SHEET_PERCENT, SHEET_ABSORB, SHEET_AS_FILE };

/* The abscissa: straight, or of two straight pieces that meet at `bend`. */
struct sheet_x {
    bool wavenumbers; /* the file's abscissa is turned into cm-1 */
    bool falling;     /* values fall to the right */
    double first;     /* value at the left end */
    double last;      /* at the right end */
    double bend;      /* NAN: straight */
    double left;
    double right;
    double bend_at; /* where on the page the bend is */
};

/* The ordinate. The room for labels lies between the frame and the values. */
struct sheet_y {
    enum sheet_ordinate ordinate;
    bool down; /* bands point down, labels hang below */
    double low;
    double high;
    int power;     /* ticks count in this power of ten; 0 but for values as the file has them */
    double top;    /* the frame */
    double bottom; /* the frame */
    double gutter; /* points of room for labels, at the bottom if `down`, else at the top */
};

enum { SHEET_TICKS_MOST = 128, SHEET_TICK_ROOM = 64 };

struct sheet_tick {
    double value;
    double at;
    bool major;
    char text[SHEET_TICK_ROOM];
};

/* How this spectrum's values are shown. */
enum sheet_ordinate sheet_ordinate_of(const struct wp_spectrum *spectrum,
                                      enum wp_sheet_ordinate wanted);
double sheet_value(const struct wp_spectrum *spectrum, enum sheet_ordinate ordinate, double y);
double sheet_abscissa(const struct wp_spectrum *spectrum, bool wavenumbers, double x);

/* Chooses the range for data from `low` to `high`; `left` and `right` are set by the caller. */
void sheet_x_choose(struct sheet_x *x, const struct wp_spectrum *spectrum, double low, double high,
                    bool compress);
double sheet_x_at(const struct sheet_x *x, double value);
double sheet_x_value(const struct sheet_x *x, double at);

/* Chooses the range and the power for data from `low` to `high`. */
void sheet_y_choose(struct sheet_y *y, double low, double high);
double sheet_y_at(const struct sheet_y *y, double value);

/* Ticks with labels at least `pitch` points apart; returns how many, in order of rising value. */
size_t sheet_x_ticks(const struct sheet_x *x, double pitch, struct sheet_tick *ticks);
size_t sheet_y_ticks(const struct sheet_y *y, double pitch, struct sheet_tick *ticks);

#endif
