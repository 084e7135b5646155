/* reader.h - what both readers share: the text, its limits, warnings, errors, spectra made.
 *
 * Private to the spectrum room. One reader by one thread.
 */
#ifndef SPECTRUM_READER_H
#define SPECTRUM_READER_H

#include "spectrum/read.h"

struct wp_reader {
    const char *begin; /* the whole text, no byte order mark */
    const char *end;
    const struct wp_read_limits *limits;
    struct wp_reading *out;
    size_t spectra_room; /* allocated in out->spectra */
    size_t total;        /* points of the whole file up to now */
    const char *line_at; /* a place whose line number is known; calls move it forward */
    long line;
    bool latin; /* a value that is not UTF-8 has been seen and said */
};

/* Where a line ends: its CR or LF, or `end`. */
const char *wp_line_end(const char *p, const char *end);
/* Where the line after `p` begins. */
const char *wp_line_next(const char *p, const char *end);

/* The line, from 1, that holds `at`. Cheap when asked in rising order. LF, CR and CR LF end lines.
 */
long wp_reader_line(struct wp_reader *reader, const char *at);

/* The line that holds `at`, counted from a place whose line is known. */
long wp_count_lines(const char *from, const char *at, const char *end, long line);

/* Adds a warning about `label` ("" if none) on `line` (0 if none). Past WP_WARNINGS_MOST it is only
 * counted. Never fails: without memory it is counted as dropped. */
void wp_reader_warn(struct wp_reader *reader, long line, const char *label, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* Fills the error and returns `status`. `at` NULL: `line` is told without a column. */
enum wp_status wp_reader_fail(struct wp_reader *reader, enum wp_status status, long line,
                              const char *at, const char *format, ...)
    __attribute__((format(printf, 5, 6)));
enum wp_status wp_reader_no_memory(struct wp_reader *reader);

/* A zeroed spectrum at the end of out->spectra, with its block number; NULL when past the limit or
 * out of memory (the error is then set). wp_reader_drop takes the last one away again. */
struct wp_spectrum *wp_reader_add(struct wp_reader *reader, long line);
void wp_reader_drop(struct wp_reader *reader);

/* Counts `points` against the limit of the whole file. */
enum wp_status wp_reader_count(struct wp_reader *reader, size_t points, long line);

/* A new string: `size` bytes trimmed, as UTF-8 (read as Windows-1252 where they are not, with one
 * warning a file), control characters other than line ends replaced, cut at `most` bytes. NULL if
 * out of memory. */
char *wp_reader_text(struct wp_reader *reader, const char *text, size_t size, size_t most,
                     long line, const char *label);

/* Adds a label to a growing list; false if out of memory. */
struct wp_label_list {
    struct wp_label *items;
    size_t count;
    size_t room;
    size_t dropped; /* beyond WP_LABELS_MOST */
};
bool wp_label_list_add(struct wp_label_list *list, const char *name, char *value, long line);
void wp_label_list_release(struct wp_label_list *list);

/* The two readers. The status is also in out->error. */
enum wp_status wp_read_jcamp(struct wp_reader *reader);
enum wp_status wp_read_delimited(struct wp_reader *reader);

/* True if the text begins as JCAMP-DX does. */
bool wp_is_jcamp(const char *begin, const char *end);

#endif
