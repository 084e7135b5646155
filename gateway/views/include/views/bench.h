/* views/bench.h - what a bench page shows. Shape: schema/openapi.yaml, "Bench". Read jobs. */
#ifndef VIEWS_BENCH_H
#define VIEWS_BENCH_H

#include "views/measurements.h"

/* Parameter 0: the instrument. Names are given name and initial, or the alias; the roster is that
 * of the sections that meet now, or of all sections where none does. */
WP_VIEW(wp_view_bench);

#endif
