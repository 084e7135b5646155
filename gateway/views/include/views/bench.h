/* views/bench.h - what a bench page shows. Shape: schema/openapi.yaml, "Bench". Read jobs. */
#ifndef VIEWS_BENCH_H
#define VIEWS_BENCH_H

#include "views/measurements.h"

/* Parameter 0: the instrument. Names are given name and initial, or the alias; the roster is that
 * of the sections that meet now, or of all sections where none does. */
WP_VIEW(wp_view_bench);

/* Whom a bench is told of by a card: short name, and the section and experiments that a turn would
 * most likely have. WP_NOT_FOUND: the person is in no section. */
enum wp_status wp_view_bench_person(struct wp_sql *sql, int64_t instrument, int64_t person,
                                    cJSON **out, struct wp_error *error);

/* The experiments of a section's course, as "experiments" of `object`. */
enum wp_status wp_bench_experiments(struct wp_sql *sql, int64_t section, cJSON *object);

/* Who waits at the instrument, as "waiting" of `out`. */
enum wp_status wp_bench_waiting(struct wp_sql *sql, int64_t instrument, cJSON *out);

/* One's own card and PIN: whether there are any, and since when. */
WP_VIEW(wp_view_card);

/* Parameter 0: a section; its people by the names that stand on their cards. */
WP_VIEW(wp_view_card_names);

#endif
