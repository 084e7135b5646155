/* Lines to fields, and the choice of the dialect. */
#include <math.h>
#include <string.h>
#include <strings.h>

#include "delimited.h"

#define SAMPLE_BYTES ((size_t)1 << 20)
#define SAMPLE_LINES 4000

static bool blank(char c)
{
    return c == ' ' || c == '\t';
}

static bool is_missing(const char *p, size_t size)
{
    static const char *const words[] = {"nan", "na",  "n/a",  "null", "?",   "-",
                                        "--",  "inf", "-inf", "-nan", "#n/a"};
    if (size == 0)
        return true;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strlen(words[i]) == size && strncasecmp(p, words[i], size) == 0)
            return true;
    for (size_t i = 0; i < size; i++)
        if (p[i] != '*')
            return false;
    return true;
}

static void classify(const struct wp_dialect *dialect, struct wp_field *field)
{
    struct wp_decimal number;
    const char *stop =
        wp_decimal_read(field->at, field->end, dialect->point, WP_EXPONENT_ANY, &number);
    field->value = (double)NAN;
    field->kind = WP_FIELD_TEXT;
    if (stop == field->end && isfinite(number.value)) {
        field->kind = WP_FIELD_NUMBER;
        field->value = number.value;
    } else if (is_missing(field->at, (size_t)(field->end - field->at))) {
        field->kind = WP_FIELD_MISSING;
    }
}

static void trim(struct wp_field *field)
{
    while (field->at < field->end && blank(*field->at))
        field->at++;
    while (field->at < field->end && blank(field->end[-1]))
        field->end--;
    bool quoted = field->end - field->at >= 2 && *field->at == '"' && field->end[-1] == '"';
    if (!quoted)
        return;
    field->at++;
    field->end--;
    while (field->at < field->end && blank(*field->at))
        field->at++;
    while (field->at < field->end && blank(field->end[-1]))
        field->end--;
}

/* Where the field that begins at `p` ends: at a separator outside quotation marks. */
static const char *field_end(const struct wp_dialect *dialect, const char *p, const char *stop)
{
    bool quoted = false;
    for (; p < stop; p++) {
        if (*p == '"')
            quoted = !quoted;
        else if (!quoted && (dialect->separator == ' ' ? blank(*p) : *p == dialect->separator))
            break;
    }
    return p;
}

size_t wp_fields_split(const struct wp_dialect *dialect, const char *p, const char *stop,
                       struct wp_field fields[WP_COLUMNS])
{
    size_t count = 0;
    bool blanks = dialect->separator == ' ';
    while (stop > p && blank(stop[-1]) && (blanks || stop[-1] != dialect->separator))
        stop--;
    while (p < stop && blank(*p) && (blanks || *p != dialect->separator))
        p++;
    while (p < stop && count < WP_COLUMNS) {
        struct wp_field *field = &fields[count++];
        field->at = p;
        field->end = field_end(dialect, p, stop);
        p = field->end < stop ? field->end + 1 : stop;
        while (blanks && p < stop && blank(*p))
            p++;
        bool empty_second = count == 1 && p == stop && field->end < stop;
        trim(field);
        classify(dialect, field);
        if (empty_second)
            fields[count++] = (struct wp_field){stop, stop, WP_FIELD_MISSING, (double)NAN};
    }
    return count;
}

bool wp_fields_are_data(const struct wp_field *fields, size_t count)
{
    return count >= 2 && fields[0].kind == WP_FIELD_NUMBER && fields[1].kind != WP_FIELD_TEXT;
}

/* The most ordinates in a run of lines that are data with the same number of fields. */
static size_t longest_run(const struct wp_dialect *dialect, const char *p, const char *end)
{
    struct wp_field fields[WP_COLUMNS];
    size_t best = 0;
    size_t run = 0;
    size_t width = 0;
    for (int line = 0; line < SAMPLE_LINES && p < end; line++, p = wp_line_next(p, end)) {
        const char *stop = wp_line_end(p, end);
        if (stop == p)
            continue;
        size_t count = wp_fields_split(dialect, p, stop, fields);
        if (!wp_fields_are_data(fields, count) || count != width)
            run = 0;
        width = count;
        run += wp_fields_are_data(fields, count) && fields[1].kind == WP_FIELD_NUMBER;
        if (run > best)
            best = run;
    }
    return best;
}

bool wp_dialect_detect(const char *begin, const char *end, struct wp_dialect *dialect)
{
    /* On a tie the earlier one: a decimal point where the data have neither. */
    static const struct wp_dialect candidates[] = {
        {'\t', '.'}, {';', '.'}, {',', '.'}, {' ', '.'}, {'\t', ','}, {';', ','}, {' ', ','},
    };
    if ((size_t)(end - begin) > SAMPLE_BYTES) {
        end = begin + SAMPLE_BYTES;
        while (end > begin && end[-1] != '\n' && end[-1] != '\r')
            end--;
    }
    size_t best = 1;
    for (size_t i = 0; i < sizeof candidates / sizeof candidates[0]; i++) {
        size_t run = longest_run(&candidates[i], begin, end);
        if (run > best) {
            best = run;
            *dialect = candidates[i];
        }
    }
    return best >= 2;
}

const char *wp_dialect_text(const struct wp_dialect *dialect)
{
    bool comma = dialect->point == ',';
    switch (dialect->separator) {
    case '\t':
        return comma ? "tab, decimal comma" : "tab, decimal point";
    case ';':
        return comma ? "semicolon, decimal comma" : "semicolon, decimal point";
    case ',':
        return "comma, decimal point";
    default:
        return comma ? "blanks, decimal comma" : "blanks, decimal point";
    }
}
