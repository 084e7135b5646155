/* acts/render.h - a measurement out of the archive again: as a sheet, as points, as files.
 *
 * The object's bytes are read again and examined with what the newest stamp says, so a corrected
 * kind or preparation changes the remarks. Nothing is kept between calls.
 *
 * Thread: lane threads, with a reading connection of their own; never the loop's.
 */
#ifndef ACTS_RENDER_H
#define ACTS_RENDER_H

#include "archive/record.h"
#include "base/bytes.h"
#include "base/clock.h"
#include "sheet/sheet.h"
#include "spectrum/write.h"

#define WP_NAME_ROOM 300 /* bytes of an exported file's name, the zero byte included */

/* One measurement with everything its sheet says. */
struct wp_loaded {
    int64_t id;
    struct wp_reading reading;
    struct wp_spectrum *spectrum; /* in `reading` */
    struct wp_examination examination;
    struct wp_stamp stamp;
    char accession[WP_ACCESSION_ROOM];
    char persons[WP_TURN_PERSONS][288];
    size_t person_count; /* a guest counts as one */
    char course[240];
    char section[64];
    char experiment[280];
    char instrument[80];
    char place[264];
    char measured_at[WP_ISO_ROOM];
    char named_by[200];
    char claim_code[WP_CODE_ROOM];
    char file_name[WP_NAME_ROOM];
    char author_id[24];
    int64_t measured_us;
    bool clock_corrected;
    struct wp_sheet_options options; /* the course's ordinate and scale */
};

/* WP_NOT_FOUND: no such measurement, or its object cannot be found. WP_INVALID: the object no
 * longer reads. The caller releases it whatever is returned. */
enum wp_status wp_loaded_read(struct wp_sql *sql, int64_t measurement, struct wp_loaded *loaded,
                              struct wp_error *error);
void wp_loaded_release(struct wp_loaded *loaded);

/* Fills a sheet's input; it borrows from `loaded`. */
void wp_loaded_sheet(const struct wp_loaded *loaded, struct wp_sheet_input *input);

/* Fills in what a course says about its sheets; `course` 0 or unknown: the usual sheet. */
enum wp_status wp_sheet_course(struct wp_sql *sql, int64_t course,
                               struct wp_sheet_options *options);

/* The paper of most printers, for files that are not drawn for one of them; A4 without printers. */
enum wp_sheet_paper wp_sheet_paper(struct wp_sql *sql);

struct wp_render {
    int64_t measurement;
    enum wp_sheet_format format;
    bool large_print;
    bool letter;
    bool hide_names;                      /* for markers: no person, no file name, no claim code */
    const char *shown_as;                 /* with hide_names: what stands for the name; or NULL */
    int64_t others[WP_SHEET_OTHERS_MOST]; /* measurements drawn behind it, told apart by dashes */
    size_t other_count;
};

/* Appends the sheet. Errors as wp_loaded_read and wp_sheet_render. */
enum wp_status wp_render_sheet(struct wp_sql *sql, struct wp_sheet_fonts *fonts,
                               const struct wp_render *what, struct wp_bytes *out,
                               struct wp_error *error);

/* Appends the object's own bytes as they came; `name` (of WP_NAME_ROOM bytes) gets the exported
 * file's name. */
enum wp_status wp_render_file(struct wp_sql *sql, int64_t measurement, struct wp_bytes *out,
                              char *name, struct wp_error *error);

/* The same for any object by its digest: what could not be read as a spectrum. */
enum wp_status wp_render_object(struct wp_sql *sql, const unsigned char digest[WP_SHA256_SIZE],
                                struct wp_bytes *out, char *name, struct wp_error *error);

/* Appends JCAMP-DX 5.01 or CSV made of the spectrum, with the stamp's sample and accession. With
 * `hide_names` nothing of the file's own texts is in it. */
enum wp_status wp_render_jcamp(struct wp_sql *sql, int64_t measurement, bool hide_names,
                               struct wp_bytes *out, struct wp_error *error);
enum wp_status wp_render_csv(struct wp_sql *sql, int64_t measurement, struct wp_bytes *out,
                             struct wp_error *error);

/* Appends JSON for the plot: x in cm-1 (or the file's unit), transmittance and absorbance where the
 * unit allows, bands and cut-off; remarks for staff alone only with `staff_remarks`. */
enum wp_status wp_render_points(struct wp_sql *sql, int64_t measurement, bool staff_remarks,
                                struct wp_bytes *out, struct wp_error *error);

/* All sheets of a section (of one experiment, or 0 for all; those that count, or all) as one PDF.
 * WP_NOT_FOUND: there is none. */
enum wp_status wp_render_booklet(struct wp_sql *sql, struct wp_sheet_fonts *fonts, int64_t section,
                                 int64_t experiment, bool all, wp_sheet_write write,
                                 void *write_user, struct wp_error *error);

#endif
