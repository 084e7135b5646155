/* trace.h - a spectrum on the page: its points from left to right, and the path that draws them. */
#ifndef SHEET_TRACE_H
#define SHEET_TRACE_H

#include <cairo.h>

#include "scale.h"

struct sheet_trace {
    size_t count;
    double *x; /* first values, then (sheet_trace_map) points on the page; never falling then */
    double *v; /* shown value, NAN in a gap */
    bool sticks;
};

/* Takes a spectrum's finite points. WP_NO_MEMORY, or WP_INVALID with fewer than two of them. */
enum wp_status sheet_trace_make(struct sheet_trace *trace, const struct wp_spectrum *spectrum,
                                bool wavenumbers, enum sheet_ordinate ordinate,
                                struct wp_error *error);
void sheet_trace_release(struct sheet_trace *trace);

/* Widens the given ranges to what the trace covers. */
void sheet_trace_range(const struct sheet_trace *trace, double x[2], double v[2]);

/* Turns abscissae into points on the page, sorted from left to right; what lies outside the axis is
 * dropped. */
enum wp_status sheet_trace_map(struct sheet_trace *trace, const struct sheet_x *axis);

/* The extreme value (lowest if `down`) between two places on the page, the neighbours just outside
 * included; NAN where there is none. */
double sheet_trace_extreme(const struct sheet_trace *trace, bool down, double from, double to);

/* Adds the curve to the current path, thinned to what columns of 1/300 inch can show. */
void sheet_trace_path(cairo_t *cr, const struct sheet_trace *trace, const struct sheet_y *axis);

#endif
