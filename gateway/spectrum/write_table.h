/* write_table.h - how the points of a spectrum are laid out in a JCAMP-DX table.
 *
 * Private to the spectrum room.
 */
#ifndef SPECTRUM_WRITE_TABLE_H
#define SPECTRUM_WRITE_TABLE_H

#include "spectrum/write.h"

enum wp_layout { WP_LAYOUT_AFFN, WP_LAYOUT_DIFDUP, WP_LAYOUT_PAIRS };

struct wp_table_plan {
    enum wp_layout layout;
    const char *class_name; /* DATA CLASS */
    double x_factor;
    double y_factor;
    bool integers; /* ordinates are written as integers times y_factor */
};

/* Evenly spaced points go into (X++(Y..Y)), others and peaks into (XY..XY), which has no compressed
 * form. For DIFDUP points count as even if an even grid differs from them by less than half a
 * unit of the last decimal in which the abscissae are written. */
void wp_table_plan(const struct wp_spectrum *spectrum, enum wp_jcamp_form form,
                   struct wp_table_plan *plan);

/* Appends the data label and the table. Errors as wp_bytes_add. */
enum wp_status wp_table_write(const struct wp_spectrum *spectrum, const struct wp_table_plan *plan,
                              struct wp_bytes *out);
/* The lines of the compressed form. */
enum wp_status wp_difdup_write(const struct wp_spectrum *spectrum, double factor,
                               struct wp_bytes *out);

/* The X at the head of a line; at most 20 bytes with the zero byte. */
#define WP_HEAD_TEXT 24
size_t wp_head_text(double x, char text[WP_HEAD_TEXT]);

#endif
