/* sheet/sheet.h - one spectrum and what the sheet says about it, drawn as PDF, PNG or SVG.
 *
 * The sheet is a landscape page: who and what at the top, the plot, the table of bands, a ruled box
 * for assignments by hand, and the foot. It is the same whatever instrument the spectrum came from,
 * and carries all its meaning in black and white.
 *
 * Pure: nothing is read but the fonts, nothing is kept between calls but them, and no clock or
 * locale is asked. The same input with the same fonts gives the same bytes, in every process.
 *
 * Thread: a `struct wp_sheet_fonts` may be shared by any number of threads; each call that draws
 * borrows its own type-setting state from it. Inputs are only read, and only during the call.
 *
 * Ownership: every pointer in an input is borrowed for the length of the call.
 *
 * Text is UTF-8 in any script. Bytes that are not UTF-8, control characters and characters that
 * steer the writing direction are cleaned away; what is too long for its place ends in an ellipsis.
 * NULL and "" both mean "not known" and leave the field out.
 *
 * Where the band labels go: each label is an integer, rotated, hung from the tip of its band. Side
 * by side they are moved as little as possible in the sense of least squares so that none overlap:
 * an isotonic regression, solved by pooling adjacent violators (Ayer, Brunk, Ewing, Reid and
 * Silverman, Ann. Math. Stat. 26 (1955) 641; Barlow et al., Statistical Inference under Order
 * Restrictions, 1972). Labels that touch form a row that hangs clear of the deepest point of the
 * curve above it, so that neither a label nor its leader can meet the curve.
 *
 * How the curve is thinned: at most first, lowest, highest and last point of each column of 1/300
 * inch (Jugel, Jerzak, Hackenbroich and Markl, M4, Proc. VLDB 7 (2014) 797), which leaves every
 * column of that width as it was; of these, no point that a straight line passes within 0.03 points
 * of paper, 0.01 mm (a cone of slopes: Sklansky and Gonzalez, Pattern Recognition 12 (1980) 327).
 */
#ifndef SHEET_SHEET_H
#define SHEET_SHEET_H

#include "base/bytes.h"
#include "spectrum/remarks.h"

/* ---- fonts ---- */

struct wp_sheet_fonts;

/* Loads the fonts through a private fontconfig file, so that the system's own settings and a
 * user's fonts never change a sheet. `config` is a path; NULL takes the environment variable
 * WAVEPOST_FONTS, and if that is not set the copy of deploy/fonts.conf compiled into the program.
 * WP_NOT_FOUND: the file cannot be read. WP_INVALID: fontconfig refuses it, or it names no usable
 * font. WP_NO_MEMORY. On failure `*fonts` is NULL. The
 * first one loaded stays fontconfig's current one in the process. About 10 ms; call it
 * once: Pango 1.50 keeps some 20 KB of each load until the process ends. */
enum wp_status wp_sheet_fonts_new(const char *config, struct wp_sheet_fonts **fonts,
                                  struct wp_error *error);

/* No call that uses `fonts` may be running. NULL-safe. */
void wp_sheet_fonts_free(struct wp_sheet_fonts *fonts);

/* How many characters of `text` none of the fonts can draw; such a character shows as a box with
 * its code. */
int wp_sheet_fonts_missing(struct wp_sheet_fonts *fonts, const char *text);

/* ---- one sheet ---- */

enum wp_sheet_format { WP_SHEET_PDF, WP_SHEET_PNG, WP_SHEET_SVG };
enum wp_sheet_paper { WP_SHEET_A4, WP_SHEET_LETTER };
enum wp_sheet_ordinate { WP_SHEET_TRANSMITTANCE, WP_SHEET_ABSORBANCE };

#define WP_SHEET_PERSONS_MOST 8 /* more are refused */
#define WP_SHEET_OTHERS_MOST 4  /* with the sheet's own spectrum: an overlay of five */
#define WP_SHEET_BANDS_MOST 20  /* labelled and listed */

struct wp_sheet_options {
    enum wp_sheet_paper paper;
    enum wp_sheet_ordinate ordinate; /* infrared only; other spectra keep the file's ordinate */
    bool compress;       /* infrared: above 2000 cm-1 at half the scale, as many tables are */
    bool large_print;    /* a PDF of two pages with type of 16 points and more; in PNG and SVG the
                            pages stand one below the other */
    double dots_an_inch; /* PNG only; 0: 120; 36 to 600 */
};

/* Another spectrum drawn behind the sheet's own, told apart by its dashes. */
struct wp_sheet_other {
    const struct wp_spectrum *spectrum;
    const char *name; /* for the key: "10042K benzoin", "Reference: aspirin" */
    const char *date; /* behind the name where there is room; NULL: none */
};

/* Everything a sheet can say. All zero but `spectrum` and `accession` is a valid input. */
struct wp_sheet_input {
    const struct wp_spectrum *spectrum;       /* required */
    const struct wp_examination *examination; /* bands, air, cut-off; NULL: none are marked.
                                                 Verdict, remarks and advice are not drawn */
    struct wp_sheet_other others[WP_SHEET_OTHERS_MOST];
    size_t other_count;

    const char *accession; /* required: its number, also the whole content of the QR code */
    bool loose; /* of no archive: `accession` is words in the number's place, no QR code */
    const char *persons[WP_SHEET_PERSONS_MOST];
    size_t person_count;    /* 0: the sheet says "Unclaimed" and shows `claim_code` */
    const char *claim_code; /* ignored as soon as there is a person */
    const char *author_id;  /* the PDF's author: an id, never a name */
    const char *course;
    const char *section;
    const char *experiment;
    const char *sample;
    enum wp_kind kind;
    enum wp_preparation preparation;
    enum wp_plates plates;
    const char *instrument;
    const char *place;
    const char *measured_at; /* local date and time, as it shall read */
    bool clock_corrected;
    int scans;            /* 0: not known */
    double resolution;    /* cm-1; 0 or NAN: not known */
    const char *named_by; /* how the name got there: "signed on at the bench" */
    bool processed;
    const char *file_name; /* the original one */
    int64_t created_us;    /* when it was measured, UTC microseconds: the PDF's creation date */
    struct wp_sheet_options options;
};

/* Draws one sheet and appends it to `*out`.
 * WP_INVALID: no spectrum, no accession, a spectrum without two finite points, more persons or
 * others than allowed, dots_an_inch out of range, an accession that fits no QR code.
 * WP_TOO_LARGE: past out->limit (a sheet takes 40 to 200 KB). WP_NO_MEMORY. WP_IO: cairo failed
 * otherwise; the text says how. On failure `*out` is as it was. */
enum wp_status wp_sheet_render(struct wp_sheet_fonts *fonts, const struct wp_sheet_input *input,
                               enum wp_sheet_format format, struct wp_bytes *out,
                               struct wp_error *error);

/* ---- many sheets in one PDF ---- */

/* Takes `size` bytes of the PDF, in order. Anything but WP_OK stops the booklet. */
typedef enum wp_status (*wp_sheet_write)(void *user, const void *data, size_t size);

/* One line of the index and of the outline. */
struct wp_booklet_entry {
    const char *persons; /* "" or NULL: "Unclaimed" */
    const char *sample;
    const char *accession;
};

#define WP_BOOKLET_MOST 2000 /* sheets */

/* A section's sheets. The callbacks run on the calling thread, each index in rising order: `entry`
 * twice (the index pages first, then again with the sheet), `open` once, then `close` before the
 * next. What `entry` and `open` point at must live until the next `entry` or until `close`. The
 * options of the first sheet's input do not matter: `options` holds for the whole booklet. */
struct wp_booklet {
    const char *title; /* "Section 014, Experiment 6: Aspirin" */
    const char *subtitle;
    const char *author_id;
    int64_t created_us;
    struct wp_sheet_options options; /* large_print and dots_an_inch are not used */
    size_t count;
    void *user;
    enum wp_status (*entry)(void *user, size_t index, struct wp_booklet_entry *entry);
    enum wp_status (*open)(void *user, size_t index, struct wp_sheet_input *input);
    void (*close)(void *user, size_t index, struct wp_sheet_input *input); /* may be NULL */
};

/* Draws index pages and all sheets into one PDF with an outline, a page at a time, and writes it
 * through `write`; memory does not grow with the size of the sheets (a few hundred bytes a page for
 * the outline and the table of pages). Errors: what a callback returned; WP_INVALID as
 * wp_sheet_render, a count of 0 or above WP_BOOKLET_MOST; WP_NO_MEMORY; WP_IO. After a failure
 * what was written is not a PDF. */
enum wp_status wp_sheet_booklet(struct wp_sheet_fonts *fonts, const struct wp_booklet *booklet,
                                wp_sheet_write write, void *write_user, struct wp_error *error);

#endif
