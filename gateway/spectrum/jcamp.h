/* jcamp.h - the parts of the JCAMP-DX reader.
 *
 * Private to the spectrum room. A block's labels are all read before its tables are decoded, so the
 * order of labels does not matter. Sources: McDonald and Wilks, Appl. Spectrosc. 42 (1988) 151
 * (4.24); Lampen et al., Pure Appl. Chem. 71 (1999) 1549 (5.01).
 */
#ifndef SPECTRUM_JCAMP_H
#define SPECTRUM_JCAMP_H

#include "number.h"
#include "reader.h"

#define WP_JNAME 48

/* One labelled data record. `end` follows a line end unless it is the end of the text. */
struct wp_jrecord {
    const char *at; /* its "##" */
    char name[WP_JNAME];
    const char *value; /* after "=" */
    const char *end;
    bool equals; /* "=" was there */
};

/* Reads the record whose "##" is at `at`. */
void wp_jrecord_read(const struct wp_reader *reader, const char *at, struct wp_jrecord *record);
/* The next "##" that begins a line, at or after `p`; reader->end if there is none. */
const char *wp_jrecord_find(const struct wp_reader *reader, const char *p);
/* Drops blanks, "-", "/", "_" and writes capitals (4.24, section 3). */
void wp_jname_normalise(const char *text, size_t size, char name[WP_JNAME]);

enum wp_jform {
    WP_JFORM_EVEN,  /* (X++(Y..Y)) */
    WP_JFORM_GROUPS /* (XY..XY), (XYW..XYW), (XYA): x and y lead each group */
};

struct wp_jtable {
    char name[WP_JNAME];
    const char *form; /* the rest of the label's line */
    const char *form_end;
    const char *begin; /* the table's lines */
    const char *end;
    long line;        /* of the label */
    long first_line;  /* of `begin` */
    const char *page; /* text of the ##PAGE= it belongs to, NULL outside NTUPLES */
    const char *page_end;
    enum wp_jform shape;
    size_t width;       /* of a group, 2 for (XY..XY) */
    char symbols[2][8]; /* of abscissa and ordinate: "X", "R", "F2" */
    bool text_last;     /* the last of a group is text: (XYA) */
};

struct wp_jblock {
    struct wp_label_list labels;
    struct wp_jtable *tables;
    size_t table_count;
    size_t table_room;
    size_t tables_dropped;
    long line;
    bool labels_given; /* to the first of several spectra */
    size_t inner;      /* blocks inside it */
    const char *page;
    const char *page_end;
    bool ntuples;
};

/* Numbers that say how a table is to be read. A number that is not given is NAN; `*_unit` is one
 * unit of the last digit as written. */
struct wp_jparams {
    double x_factor, y_factor;
    double first_x, last_x, delta_x;
    double first_y, max_y, min_y, max_x, min_x;
    double first_y_unit, max_y_unit, min_y_unit;
    size_t points; /* NPOINTS */
    bool points_given;
    const char *x_units; /* borrowed from the block's labels or `units`, NULL if not given */
    const char *y_units;
    char units[2][64];
};

const char *wp_jblock_value(const struct wp_jblock *block, const char *name);
const struct wp_label *wp_jblock_label(const struct wp_jblock *block, const char *name);

/* From the plain labels. Warnings for what is missing or not a number. */
enum wp_status wp_jparams_read(struct wp_reader *reader, const struct wp_jblock *block,
                               const struct wp_jtable *table, struct wp_jparams *params);
/* From the lists of an NTUPLES block; `*wanted` false for a page to leave out (imaginary part). */
enum wp_status wp_jparams_ntuples(struct wp_reader *reader, const struct wp_jblock *block,
                                  const struct wp_jtable *table, struct wp_jparams *params,
                                  bool *wanted);
/* The number in a label's value; false if none is there. A decimal comma is accepted. */
bool wp_jnumber(const char *text, struct wp_decimal *number);
/* Finds the variable list in the label's line. */
void wp_jtable_form(struct wp_reader *reader, struct wp_jtable *table);

/* What decoding an (X++(Y..Y)) table found. */
#define WP_JLINES 512
struct wp_jline {
    size_t index; /* point at which the line's X stands */
    double x;     /* after XFACTOR */
    double unit;  /* one unit of its last digit, after XFACTOR */
};
struct wp_jdecoded {
    double *y; /* before YFACTOR, NAN where missing; the caller frees it */
    size_t count;
    struct wp_jline lines[WP_JLINES]; /* an even sample of the lines */
    size_t line_count;
    struct wp_jline last_line;
    size_t lines_total;
    long off_line;      /* the first line whose X is not where the header puts it, 0 if none */
    size_t lines_off;   /* whose X is not where the header puts it */
    bool dif, dup, sqz; /* differences, repeat counts, other pseudo-digits were seen */
};
enum wp_status wp_jdecode(struct wp_reader *reader, const struct wp_jtable *table,
                          const struct wp_jparams *params, struct wp_jdecoded *out);

/* Gives x for the points decoded; may warn, or fail where the abscissa cannot be known. */
enum wp_status wp_jaxis(struct wp_reader *reader, const struct wp_jtable *table,
                        const struct wp_jparams *params, const struct wp_jdecoded *decoded,
                        double **x);

/* Decodes an (XY..XY) table into new arrays, factors applied. */
enum wp_status wp_jgroups(struct wp_reader *reader, const struct wp_jtable *table,
                          const struct wp_jparams *params, double **x, double **y, size_t *count);

/* A block that has ended: its spectra are added to the reading. */
enum wp_status wp_jblock_finish(struct wp_reader *reader, struct wp_jblock *block);

#endif
