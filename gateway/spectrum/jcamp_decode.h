/* jcamp_decode.h - what the fast loop (jcamp_table.c) and its rare cases (jcamp_decode.c) share. */
#ifndef SPECTRUM_JCAMP_DECODE_H
#define SPECTRUM_JCAMP_DECODE_H

#include "jcamp.h"

enum {
    WP_C_BAD,
    WP_C_BLANK,
    WP_C_LINE_END,
    WP_C_DIGIT,
    WP_C_SIGN,
    WP_C_POINT,
    WP_C_SQZ,
    WP_C_DIF,
    WP_C_DUP,
    WP_C_MISSING,
    WP_C_COMMENT
};
extern const unsigned char wp_jclass[256];
extern const int16_t wp_jleading[256];

enum { WP_SEEN_SQZ = 1, WP_SEEN_DIF = 2, WP_SEEN_DUP = 4, WP_SEEN_PAC = 8, WP_SEEN_WORD = 16 };

/* What the last ordinate was; decides what a DUP repeats and whether a check value follows. */
enum wp_last_form {
    WP_FORM_NONE,
    WP_FORM_VALUE,
    WP_FORM_MISSING,
    WP_FORM_DIF,
    WP_FORM_REPEATED_DIF
};

/* After which lines the next one begins with a check value. */
enum wp_check_rule {
    WP_CHECK_STANDARD, /* the line ends in a difference, repeated or not */
    WP_CHECK_LITERAL,  /* only where the difference itself ends the line */
    WP_CHECK_NEVER
};

struct wp_jdecoder {
    struct wp_reader *reader;
    const struct wp_jtable *table;
    const struct wp_jparams *params;
    struct wp_jdecoded *out;
    enum wp_check_rule rule;
    char point;        /* '.' or, where the table shows it, ',' */
    const char *safe;  /* the last place from which eight bytes may be read */
    const char *reach; /* the last place from which a run may look ahead, NULL if there is none */
    const char *stop;  /* where the stretch being read ends, after a line end */
    const char *base;  /* where `at` counts lines from, with its line */
    long base_line;

    double *y;
    size_t count, room, most;
    const char *at; /* the number being read */

    enum wp_last_form form;
    bool inexact; /* the last value is only in `last` */
    double last;
    int64_t mantissa; /* last value = mantissa * 10^exponent */
    int exponent;
    int64_t step; /* last difference */
    int step_exponent;

    bool check; /* the line being read begins with a check value */
    unsigned seen;
    bool loose;          /* E, sign and one digit is an exponent even after a whole number */
    bool split;          /* such a number was read as two: "5" and pseudo-digit E */
    bool cut;            /* the text ended inside the last number, which was left out */
    size_t count_before; /* points before the line being read */
    const char *line_at;

    size_t lines;
    struct wp_jline last_line;
    size_t stride;     /* every how manieth line is kept as a sample */
    size_t skip;       /* lines to go until the next one is */
    size_t relayed;    /* lines that end in a repeated difference */
    size_t checks;     /* check values compared */
    size_t failures;   /* of them, wrong */
    bool last_failed;  /* the last line's was wrong, and the line held nothing else */
    long failure_line; /* of the first wrong one */
    double failure_found, failure_expected;
    size_t continued; /* lines that begin with a difference */
    long continued_line;
    long exponent_line; /* of the first exponent of one digit */
    long word_line;     /* of the first NaN or overflowed field */

    long off_line; /* first line whose X is off, with what was expected */
    double off_x, off_expected;
    size_t off_lines;
    double expected_step;
};

/* The line of the file that holds `at`. */
long wp_jdecoder_line(const struct wp_jdecoder *d, const char *at);
enum wp_status wp_jdecoder_lines(struct wp_jdecoder *d, const char *p, const char *end);

#define WP_RUN_REACH 80 /* bytes that a run looks ahead */
/* Takes whole numbers as far as they go; returns where it stopped. */
const char *wp_jdecoder_run(struct wp_jdecoder *d, const char *p);

enum wp_status wp_jdecoder_append(struct wp_jdecoder *d, double value);
enum wp_status wp_jdecoder_difference(struct wp_jdecoder *d);
enum wp_status wp_jdecoder_fail(struct wp_jdecoder *d, enum wp_status status, const char *at,
                                const char *format, ...) __attribute__((format(printf, 4, 5)));
enum wp_status wp_jdecoder_bad(struct wp_jdecoder *d, const char *at);
enum wp_status wp_jdecoder_check(struct wp_jdecoder *d);
enum wp_status wp_jdecoder_align(struct wp_jdecoder *d);
enum wp_status wp_jdecoder_abscissa(struct wp_jdecoder *d, const char **at);
enum wp_status wp_jdecoder_affn(struct wp_jdecoder *d, const char **at, bool first);
enum wp_status wp_jdecoder_long_pseudo(struct wp_jdecoder *d, const char **at, bool first);
enum wp_status wp_jdecoder_missing(struct wp_jdecoder *d, const char **at, bool first);
enum wp_status wp_jdecoder_word(struct wp_jdecoder *d, const char **at, bool first);
void wp_jdecoder_line_done(struct wp_jdecoder *d);

/* "NaN" or "Inf" standing alone: no ASDF writer puts a blank after every pseudo-digit. */
static inline bool wp_is_word(const char *p)
{
    char a = (char)(p[0] | 0x20);
    if (__builtin_expect(a != 'n' && a != 'i', 1))
        return false;
    if (wp_jclass[(unsigned char)p[-1]] != WP_C_BLANK && p[-1] != '-' && p[-1] != '+')
        return false;
    char b = (char)(p[1] | 0x20);
    char c = b == 'a' || b == 'n' ? (char)(p[2] | 0x20) : '\0';
    if (!(a == 'n' && b == 'a' && c == 'n') && !(a == 'i' && b == 'n' && c == 'f'))
        return false;
    unsigned after = wp_jclass[(unsigned char)p[3]];
    return after == WP_C_BLANK || after == WP_C_LINE_END;
}

#endif
