/* Decodes an (X++(Y..Y)) table: AFFN, PAC, SQZ, DIF, DUP and any mixture (4.24, section 5).
 *
 * This is the loop that decides how fast a file is read, so values go through it once, undecoded
 * and unscaled, and whatever is rare is in a function of its own. Every stretch of text handed to
 * decode_lines ends in a line end, which stops each inner loop without a check of the bound.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "jcamp_decode.h"

#define CLASS_DIGITS ['0' ... '9'] = WP_C_DIGIT

const unsigned char wp_jclass[256] = {
    CLASS_DIGITS,
    [' '] = WP_C_BLANK,
    ['\t'] = WP_C_BLANK,
    [','] = WP_C_BLANK,
    [';'] = WP_C_BLANK,
    ['\f'] = WP_C_BLANK,
    [0x1A] = WP_C_BLANK,
    ['\n'] = WP_C_LINE_END,
    ['\r'] = WP_C_LINE_END,
    ['+'] = WP_C_SIGN,
    ['-'] = WP_C_SIGN,
    ['.'] = WP_C_POINT,
    ['@'] = WP_C_SQZ,
    ['A' ... 'I'] = WP_C_SQZ,
    ['a' ... 'i'] = WP_C_SQZ,
    ['%'] = WP_C_DIF,
    ['J' ... 'R'] = WP_C_DIF,
    ['j' ... 'r'] = WP_C_DIF,
    ['S' ... 'Z'] = WP_C_DUP,
    ['s'] = WP_C_DUP,
    ['?'] = WP_C_MISSING,
    ['*'] = WP_C_MISSING,
    ['$'] = WP_C_COMMENT,
};

/* The signed first digit that a pseudo-digit stands for (4.24, table II). */
const int16_t wp_jleading[256] = {
    ['@'] = 0,  ['A'] = 1,  ['B'] = 2,  ['C'] = 3,  ['D'] = 4,  ['E'] = 5,  ['F'] = 6,  ['G'] = 7,
    ['H'] = 8,  ['I'] = 9,  ['a'] = -1, ['b'] = -2, ['c'] = -3, ['d'] = -4, ['e'] = -5, ['f'] = -6,
    ['g'] = -7, ['h'] = -8, ['i'] = -9, ['%'] = 0,  ['J'] = 1,  ['K'] = 2,  ['L'] = 3,  ['M'] = 4,
    ['N'] = 5,  ['O'] = 6,  ['P'] = 7,  ['Q'] = 8,  ['R'] = 9,  ['j'] = -1, ['k'] = -2, ['l'] = -3,
    ['m'] = -4, ['n'] = -5, ['o'] = -6, ['p'] = -7, ['q'] = -8, ['r'] = -9, ['S'] = 1,  ['T'] = 2,
    ['U'] = 3,  ['V'] = 4,  ['W'] = 5,  ['X'] = 6,  ['Y'] = 7,  ['Z'] = 8,  ['s'] = 9,
};

#define EXACT_DIGITS 17

static enum wp_status grow(struct wp_jdecoder *d)
{
    if (d->count >= d->most)
        return wp_jdecoder_fail(d, WP_TOO_LARGE, d->at, "more than %zu points in one table",
                                d->most);
    size_t room = d->room < d->most / 2 ? d->room * 2 : d->most;
    double *grown = realloc(d->y, room * sizeof *grown);
    if (!grown)
        return wp_reader_no_memory(d->reader);
    d->y = grown;
    d->room = room;
    return WP_OK;
}

static inline enum wp_status append(struct wp_jdecoder *d, double value)
{
    if (d->count == d->room) {
        enum wp_status status = grow(d);
        if (status)
            return status;
    }
    d->y[d->count++] = value;
    return WP_OK;
}

/* The digits at `p`, up to EXACT_DIGITS of them; `*value` is continued. Returns where they end. */
static inline const char *digits(const struct wp_jdecoder *d, const char *p, uint64_t *value)
{
    uint64_t v = *value;
    if (__builtin_expect(p <= d->safe, 1)) {
        uint64_t eight;
        unsigned count = wp_digits8(p, &eight);
        v = v * wp_powers_of_ten[count] + eight;
        p += count;
        if (count < 8) {
            *value = v;
            return p;
        }
    }
    const char *stop = p + EXACT_DIGITS - 8;
    while (p < stop && (unsigned char)(*p - '0') < 10)
        v = v * 10 + (uint64_t)(*p++ - '0');
    *value = v;
    return p;
}

enum wp_status wp_jdecoder_append(struct wp_jdecoder *d, double value)
{
    return append(d, value);
}

/* A check value, or a point. `first` is true for the first ordinate of a line. */
static inline enum wp_status take_value(struct wp_jdecoder *d, bool first)
{
    d->step = 0;
    d->step_exponent = 0;
    d->form = WP_FORM_VALUE;
    if (first && d->check)
        return wp_jdecoder_check(d);
    return append(d,
                  d->exponent ? wp_decimal_value(d->mantissa, d->exponent) : (double)d->mantissa);
}

static inline enum wp_status take_difference(struct wp_jdecoder *d)
{
    if (__builtin_expect((d->exponent | d->step_exponent) != 0, 0)) {
        enum wp_status status = wp_jdecoder_align(d);
        if (status)
            return status;
    }
    if (__builtin_add_overflow(d->mantissa, d->step, &d->mantissa))
        return wp_jdecoder_fail(d, WP_INVALID, d->at,
                                "the differences add up to too large a number");
    return append(d,
                  d->exponent ? wp_decimal_value(d->mantissa, d->exponent) : (double)d->mantissa);
}

enum wp_status wp_jdecoder_difference(struct wp_jdecoder *d)
{
    return take_difference(d);
}

static enum wp_status repeat(struct wp_jdecoder *d, uint64_t times)
{
    if (times == 0)
        return wp_jdecoder_fail(d, WP_INVALID, d->at, "a repeat count of zero");
    uint64_t more = times - 1;
    if (more > d->most - d->count)
        return wp_jdecoder_fail(d, WP_TOO_LARGE, d->at,
                                "a repeat count that goes beyond %zu points", d->most);
    enum wp_status status = WP_OK;
    if (d->form == WP_FORM_VALUE || d->form == WP_FORM_MISSING) {
        double value = d->form == WP_FORM_MISSING ? (double)NAN : d->last;
        for (; more && !status; more--)
            status = append(d, value);
        return status;
    }
    for (; more && !status; more--)
        status = take_difference(d);
    d->form = WP_FORM_REPEATED_DIF;
    return status;
}

/* A pseudo-digit at `p`; its value goes where its kind says. */
static inline enum wp_status pseudo(struct wp_jdecoder *d, const char **at, bool first)
{
    const char *p = *at;
    unsigned char c = (unsigned char)*p;
    unsigned kind = wp_jclass[c];
    int lead = wp_jleading[c];
    uint64_t value = (uint64_t)(lead < 0 ? -lead : lead);
    const char *stop = digits(d, p + 1, &value);
    unsigned char next = (unsigned char)*stop;
    d->at = p;
    if (__builtin_expect(wp_jclass[next] == WP_C_DIGIT || next == '.', 0))
        return wp_jdecoder_long_pseudo(d, at, first);
    *at = stop;
    bool negative = lead < 0;
    if (kind == WP_C_DIF) {
        if (__builtin_expect(d->form == WP_FORM_NONE || d->form == WP_FORM_MISSING, 0))
            return wp_jdecoder_fail(d, WP_INVALID, p, "a difference without a value to start from");
        if (__builtin_expect(d->inexact, 0))
            return wp_jdecoder_fail(d, WP_INVALID, p,
                                    "a difference from a number too long to count");
        if (__builtin_expect(first, 0) && !d->continued++)
            d->continued_line = wp_jdecoder_line(d, p);
        d->step = negative ? -(int64_t)value : (int64_t)value;
        d->step_exponent = 0;
        d->form = WP_FORM_DIF;
        d->seen |= WP_SEEN_DIF;
        return take_difference(d);
    }
    if (kind == WP_C_DUP) {
        d->seen |= WP_SEEN_DUP;
        if (first)
            return wp_jdecoder_fail(d, WP_INVALID, p, "a repeat count without a value before it");
        if (d->form == WP_FORM_VALUE)
            d->last = d->y[d->count - 1];
        return repeat(d, value);
    }
    if ((next | 0x20) == 'e' && (stop[1] == '+' || stop[1] == '-'))
        return *at = p, wp_jdecoder_long_pseudo(d, at, first);
    d->seen |= WP_SEEN_SQZ;
    d->inexact = false;
    d->mantissa = negative ? -(int64_t)value : (int64_t)value;
    d->exponent = 0;
    return take_value(d, first);
}

/* An AFFN number: the plain integer at once, all else in wp_jdecoder_affn. */
static inline enum wp_status affn(struct wp_jdecoder *d, const char **at, bool first)
{
    const char *p = *at;
    d->at = p;
    bool negative = *p == '-';
    const char *q = p + (negative || *p == '+');
    uint64_t value = 0;
    const char *stop = digits(d, q, &value);
    unsigned char next = (unsigned char)*stop;
    if (__builtin_expect(stop == q || wp_jclass[next] == WP_C_DIGIT ||
                             next == (unsigned char)d->point || (next | 0x20) == 'e',
                         0))
        return wp_jdecoder_affn(d, at, first);
    *at = stop;
    d->inexact = false;
    d->mantissa = negative ? -(int64_t)value : (int64_t)value;
    d->exponent = 0;
    return take_value(d, first);
}

/* Starts on the ordinates of a line that need no comparison: the first is a value of its own. */
static inline const char *begin_line(struct wp_jdecoder *d, const char *p)
{
    const char *q = p;
    if (d->check)
        return p;
    while (*q == ' ')
        q++;
    unsigned kind = wp_jclass[(unsigned char)*q];
    if (kind == WP_C_SQZ || kind == WP_C_SIGN)
        return wp_jdecoder_run(d, q);
    return kind == WP_C_DIGIT && q > p ? wp_jdecoder_run(d, q - 1) : q;
}

/* The ordinates of one line, from `p` to its line end. */
static enum wp_status ordinates(struct wp_jdecoder *d, const char **at)
{
    const char *p = begin_line(d, *at);
    bool first = d->count == d->count_before;
    enum wp_status status = WP_OK;
    while (!status) {
        switch (wp_jclass[(unsigned char)*p]) {
        case WP_C_BLANK:
            p++;
            continue;
        case WP_C_DIGIT:
        case WP_C_SIGN:
        case WP_C_POINT:
            status = affn(d, &p, first);
            break;
        case WP_C_SQZ:
        case WP_C_DIF:
        case WP_C_DUP:
            if (__builtin_expect(wp_is_word(p), 0))
                status = wp_jdecoder_word(d, &p, first);
            else
                status = pseudo(d, &p, first);
            break;
        case WP_C_MISSING:
            status = wp_jdecoder_missing(d, &p, first);
            break;
        case WP_C_LINE_END:
            *at = p;
            return WP_OK;
        case WP_C_COMMENT:
            if (p[1] == '$') {
                while (wp_jclass[(unsigned char)*p] != WP_C_LINE_END)
                    p++;
                continue;
            }
            return wp_jdecoder_bad(d, p);
        default:
            return wp_jdecoder_bad(d, p);
        }
        first = false;
        p = wp_jdecoder_run(d, p);
    }
    *at = p;
    return status;
}

enum wp_status wp_jdecoder_lines(struct wp_jdecoder *d, const char *p, const char *end)
{
    d->stop = end;
    while (p < end) {
        unsigned kind = wp_jclass[(unsigned char)*p];
        if (kind == WP_C_BLANK || kind == WP_C_LINE_END) {
            p++;
            continue;
        }
        if (kind == WP_C_COMMENT && p[1] == '$') {
            while (wp_jclass[(unsigned char)*p] != WP_C_LINE_END)
                p++;
            continue;
        }
        enum wp_status status = wp_jdecoder_abscissa(d, &p);
        if (!status)
            status = ordinates(d, &p);
        if (status)
            return status;
        wp_jdecoder_line_done(d);
    }
    return WP_OK;
}
