/* The rare cases of an (X++(Y..Y)) table, and the choice between the rules writers follow. */
#include "jcamp_decode.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

long wp_jdecoder_line(const struct wp_jdecoder *d, const char *at)
{
    return wp_count_lines(d->base, at, at + 1, d->base_line);
}

enum wp_status wp_jdecoder_fail(struct wp_jdecoder *d, enum wp_status status, const char *at,
                                const char *format, ...)
{
    char text[WP_ERROR_TEXT];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    long column = d->line_at && at >= d->line_at ? (long)(at - d->line_at) + 1 : 0;
    return wp_fail_at(&d->reader->out->error, status, wp_jdecoder_line(d, at), column, "%s: %s",
                      d->table->name, length < 0 ? "" : text);
}

enum wp_status wp_jdecoder_bad(struct wp_jdecoder *d, const char *at)
{
    unsigned char c = (unsigned char)*at;
    if (c > ' ' && c < 0x7F)
        return wp_jdecoder_fail(d, WP_INVALID, at, "\"%c\" is not part of a number", c);
    return wp_jdecoder_fail(d, WP_INVALID, at, "a byte of value %u among the numbers", c);
}

static double last_value(const struct wp_jdecoder *d)
{
    return d->inexact ? d->last : wp_decimal_value(d->mantissa, d->exponent);
}

/* The first ordinate of a line after a difference repeats the last one (4.24, section 5.8.3). */
enum wp_status wp_jdecoder_check(struct wp_jdecoder *d)
{
    double found = last_value(d);
    double expected = d->count ? d->y[d->count - 1] : found;
    d->checks++;
    d->last_failed = found != expected;
    if (d->last_failed && !d->failures++) {
        d->failure_line = wp_jdecoder_line(d, d->at);
        d->failure_found = found;
        d->failure_expected = expected;
    }
    return WP_OK;
}

static bool scale(int64_t *mantissa, int *exponent, int to)
{
    while (*exponent > to) {
        if (__builtin_mul_overflow(*mantissa, 10, mantissa))
            return false;
        --*exponent;
    }
    return true;
}

/* Value and difference to the same power of ten, so that they add exactly. */
enum wp_status wp_jdecoder_align(struct wp_jdecoder *d)
{
    int to = d->exponent < d->step_exponent ? d->exponent : d->step_exponent;
    if (scale(&d->mantissa, &d->exponent, to) && scale(&d->step, &d->step_exponent, to))
        return WP_OK;
    return wp_jdecoder_fail(d, WP_INVALID, d->at, "a difference of too many digits");
}

static enum wp_status take(struct wp_jdecoder *d, const struct wp_decimal *number, bool first)
{
    d->inexact = !number->exact;
    d->mantissa = number->mantissa;
    d->exponent = number->exponent;
    d->last = number->value;
    d->step = 0;
    d->step_exponent = 0;
    d->form = WP_FORM_VALUE;
    if (!isfinite(number->value))
        return wp_jdecoder_fail(d, WP_INVALID, d->at, "a number beyond the range of double");
    if (first && d->check)
        return wp_jdecoder_check(d);
    return wp_jdecoder_append(d, number->value);
}

/* A number with its exponent. By the standard E, a sign and only one digit is no exponent, yet many
 * programs write "1.5e-7". It is taken as one after a decimal point, where pseudo-digits do not
 * occur; else "5E+3" is the value 5 and the pseudo-digit E, unless the table as a whole does not
 * come out so (`loose`). The X at the head of a line is followed by pseudo-digits in any case. */
static const char *read_number(struct wp_jdecoder *d, const char *p, const char *end, bool at_head,
                               struct wp_decimal *number)
{
    const char *stop = wp_decimal_read(p, end, d->point, WP_EXPONENT_SIGNED, number);
    bool one_digit =
        stop && stop - p > 3 && (stop[-2] == '+' || stop[-2] == '-') && (stop[-3] | 0x20) == 'e';
    if (!one_digit)
        return stop;
    if (at_head || (!number->decimals && !d->loose)) {
        d->split |= !at_head;
        return wp_decimal_read(p, stop - 3, d->point, WP_EXPONENT_SIGNED, number);
    }
    if (!d->exponent_line)
        d->exponent_line = wp_jdecoder_line(d, d->at);
    return stop;
}

enum wp_status wp_jdecoder_affn(struct wp_jdecoder *d, const char **at, bool first)
{
    struct wp_decimal number;
    const char *p = *at;
    if ((*p == '-' || *p == '+') && wp_is_word(p + 1)) {
        *at = p + 1;
        return wp_jdecoder_word(d, at, first);
    }
    const char *stop = read_number(d, p, d->stop, false, &number);
    if (!stop)
        return wp_jdecoder_bad(d, p);
    *at = stop;
    return take(d, &number, first);
}

/* A pseudo-digit with a decimal point, an exponent or very many digits: rewritten as AFFN. */
enum wp_status wp_jdecoder_long_pseudo(struct wp_jdecoder *d, const char **at, bool first)
{
    static const char letters[] = "@ABCDEFGHI%JKLMNOPQR abcdefghi jklmnopqr";
    char text[512];
    const char *p = *at;
    const char *place = strchr(letters, *p);
    size_t index = place ? (size_t)(place - letters) : 0;
    bool dif = (index / 10) % 2 == 1;
    if (wp_jclass[(unsigned char)*p] == WP_C_DUP)
        return wp_jdecoder_fail(d, WP_TOO_LARGE, p, "a repeat count of too many digits");
    size_t size = (size_t)(d->stop - p);
    if (size > sizeof text - 3)
        size = sizeof text - 3;
    text[0] = index >= 20 ? '-' : '+';
    text[1] = (char)('0' + index % 10);
    memcpy(text + 2, p + 1, size - 1);
    struct wp_decimal number;
    const char *stop = read_number(d, text, text + 1 + size, false, &number);
    if (!stop || stop == text + sizeof text - 2)
        return wp_jdecoder_fail(d, WP_INVALID, p, "a number of too many digits");
    *at = p + (stop - text - 1);
    if (!dif) {
        d->seen |= WP_SEEN_SQZ;
        return take(d, &number, first);
    }
    if (d->form == WP_FORM_NONE || d->form == WP_FORM_MISSING)
        return wp_jdecoder_fail(d, WP_INVALID, p, "a difference without a value to start from");
    if (!number.exact || d->inexact)
        return wp_jdecoder_fail(d, WP_INVALID, p, "a difference of too many digits");
    if (first && !d->continued++)
        d->continued_line = wp_jdecoder_line(d, p);
    d->step = number.mantissa;
    d->step_exponent = number.exponent;
    d->form = WP_FORM_DIF;
    d->seen |= WP_SEEN_DIF;
    return wp_jdecoder_difference(d);
}

static enum wp_status add_missing(struct wp_jdecoder *d)
{
    d->form = WP_FORM_MISSING;
    return wp_jdecoder_append(d, (double)NAN);
}

/* "?" is a missing ordinate; a run of "*" is a field that a fixed-width writer could not fill. */
enum wp_status wp_jdecoder_missing(struct wp_jdecoder *d, const char **at, bool first)
{
    const char *p = *at;
    (void)first;
    d->at = p;
    if (*p == '*') {
        if (!d->word_line)
            d->word_line = wp_jdecoder_line(d, p);
        while (*p == '*')
            p++;
        *at = p;
    } else {
        *at = p + 1;
    }
    return add_missing(d);
}

enum wp_status wp_jdecoder_word(struct wp_jdecoder *d, const char **at, bool first)
{
    (void)first;
    d->at = *at;
    if (!d->word_line)
        d->word_line = wp_jdecoder_line(d, *at);
    *at += 3;
    return add_missing(d);
}

static void sample_line(struct wp_jdecoder *d, const struct wp_jline *line)
{
    struct wp_jdecoded *out = d->out;
    if (d->skip--)
        return;
    d->skip = d->stride - 1;
    if (out->line_count == WP_JLINES) {
        for (size_t i = 0; i < WP_JLINES / 2; i++)
            out->lines[i] = out->lines[2 * i];
        out->line_count = WP_JLINES / 2;
        d->stride *= 2;
        d->skip = d->stride - 1;
    }
    out->lines[out->line_count++] = *line;
}

/* The X of a line is a check as well. On a line that follows a difference it belongs to the check
 * value; some writers give the X of the first new point instead, so both are let pass. */
static inline void compare_abscissa(struct wp_jdecoder *d, const struct wp_jline *line)
{
    double expected = d->params->first_x + (double)line->index * d->expected_step;
    double slack = fmax(0.5 * fabs(d->expected_step), 0.999 * line->unit);
    double off = fabs(line->x - expected);
    if (off <= slack || isnan(d->expected_step) ||
        (d->check && fabs(line->x - expected - d->expected_step) <= slack))
        return;
    if (!d->off_lines++) {
        d->off_line = wp_jdecoder_line(d, d->line_at);
        d->off_x = line->x;
        d->off_expected = expected;
    }
}

static bool check_follows(const struct wp_jdecoder *d)
{
    if (d->rule == WP_CHECK_NEVER)
        return false;
    return d->form == WP_FORM_DIF ||
           (d->form == WP_FORM_REPEATED_DIF && d->rule == WP_CHECK_STANDARD);
}

/* The plain "123.456" of nearly every line; anything else by wp_decimal_read. */
static const char *read_abscissa(struct wp_jdecoder *d, const char *p, double *x, double *unit)
{
    static const double units[] = {1.0, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7};
    struct wp_decimal number;
    const char *q = p + (*p == '-');
    uint64_t whole = 0;
    uint64_t part = 0;
    if (q <= d->safe) {
        unsigned count = wp_digits8(q, &whole);
        const char *stop = q + count;
        unsigned decimals = 0;
        if (*stop == d->point && stop + 1 <= d->safe) {
            decimals = wp_digits8(stop + 1, &part);
            stop += 1 + decimals;
        }
        char c = *stop;
        if (count && count < 8 && decimals < 8 && (c | 0x20) != 'e' &&
            wp_jclass[(unsigned char)c] != WP_C_DIGIT && c != d->point) {
            double power = wp_exact_powers_of_ten[decimals];
            double value = (double)(whole * wp_powers_of_ten[decimals] + part) / power;
            *x = *p == '-' ? -value : value;
            *unit = units[decimals];
            return stop;
        }
    }
    p = read_number(d, p, d->stop, true, &number);
    if (!p)
        return NULL;
    *x = number.value;
    *unit = number.exact ? wp_decimal_value(1, number.exponent) : 0.0;
    return isfinite(number.value) ? p : NULL;
}

enum wp_status wp_jdecoder_abscissa(struct wp_jdecoder *d, const char **at)
{
    struct wp_jline line;
    d->line_at = *at;
    double unit = 0.0;
    const char *p = read_abscissa(d, *at, &line.x, &unit);
    if (!p)
        return wp_jdecoder_fail(d, WP_INVALID, *at, "the line does not begin with an abscissa");
    line.x *= d->params->x_factor;
    line.unit = fabs(unit * d->params->x_factor);
    d->check = check_follows(d) && d->count > 0;
    line.index = d->check ? d->count - 1 : d->count;
    compare_abscissa(d, &line);
    sample_line(d, &line);
    d->last_line = line;
    d->lines++;
    d->count_before = d->count;
    d->last_failed = false;
    *at = p;
    return WP_OK;
}

void wp_jdecoder_line_done(struct wp_jdecoder *d)
{
    d->relayed += d->form == WP_FORM_REPEATED_DIF;
    if (d->count != d->count_before)
        d->last_failed = false;
}
