/* views/figures.h - the fleet in figures, for monitoring: Prometheus' text exposition format,
 * version 0.0.4. Names and ids of instruments only, no person's.
 *
 * What grows for ever is counted over the last 24 hours, so that asking costs the same in every
 * year. Thread: a reader's.
 */
#ifndef VIEWS_FIGURES_H
#define VIEWS_FIGURES_H

#include "base/bytes.h"
#include "base/sql.h"

/* Appends agents (heard of or not, their queues, spools, disks), printers by state, deliveries by
 * state, spectra by verdict. WP_TOO_LARGE past text->limit; WP_NO_MEMORY; database errors. */
enum wp_status wp_view_figures(struct wp_sql *sql, int64_t now, struct wp_bytes *text);

/* One figure with its help and kind ("gauge", "counter"), without labels. Errors as wp_bytes_add.
 */
enum wp_status wp_figure_add(struct wp_bytes *text, const char *name, const char *kind,
                             const char *help, uint64_t value);

#endif
