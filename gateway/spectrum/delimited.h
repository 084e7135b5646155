/* delimited.h - the parts of the reader of delimited text.
 *
 * Private to the spectrum room.
 */
#ifndef SPECTRUM_DELIMITED_H
#define SPECTRUM_DELIMITED_H

#include "number.h"
#include "reader.h"
#include "units.h"

#define WP_COLUMNS 64
#define WP_COLUMN_NAME 64

struct wp_dialect {
    char separator; /* ',', ';', '\t', or ' ' for any run of blanks */
    char point;     /* '.' or ',' */
};

enum wp_field_kind { WP_FIELD_TEXT, WP_FIELD_NUMBER, WP_FIELD_MISSING };
struct wp_field {
    const char *at;
    const char *end;
    enum wp_field_kind kind;
    double value;
};

/* Splits the line [p, stop) into at most WP_COLUMNS fields; a trailing separator makes none. */
size_t wp_fields_split(const struct wp_dialect *dialect, const char *p, const char *stop,
                       struct wp_field fields[WP_COLUMNS]);
/* A line of data: at least two fields, the first a number, the second a number or missing. */
bool wp_fields_are_data(const struct wp_field *fields, size_t count);

/* Chooses the dialect under which most lines are data; false if under none two are. */
bool wp_dialect_detect(const char *begin, const char *end, struct wp_dialect *dialect);
const char *wp_dialect_text(const struct wp_dialect *dialect);

/* What the lines before the data say. */
struct wp_dheader {
    struct wp_label_list labels;
    char names[WP_COLUMNS][WP_COLUMN_NAME]; /* of the columns, "" where not given */
    size_t name_count;
    long names_line;
};
bool wp_dheader_read(struct wp_reader *reader, const struct wp_dialect *dialect, const char *begin,
                     const char *end, size_t width, struct wp_dheader *header);

/* Fills title, units, technique, time, resolution, scans of a spectrum whose points are there;
 * x stands in column `x_column`, y in `y_column`. */
enum wp_status wp_delimited_describe(struct wp_reader *reader, const struct wp_dheader *header,
                                     size_t x_column, size_t y_column,
                                     struct wp_spectrum *spectrum);

#endif
