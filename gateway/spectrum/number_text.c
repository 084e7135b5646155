#include "spectrum/number_text.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "number.h"

/* Decimals below this have 15 digits at most and are exact as doubles. */
#define DECIMAL_MOST 1e15
/* Smaller ones are written with an exponent. */
#define PLAIN_LEAST 1e-4

/* Powers of ten up to 10^22 are exact. A number below 10^15 divided by one of them is rounded once,
 * as reading the text rounds it once: so equality here is equality after reading. */
#define POWERS_MOST 19

/* The digits of `value`, which is positive, as a whole number, and how many of them stand behind
 * the point. False if it takes more than 15. */
static bool as_decimal(double value, uint64_t *digits, unsigned *behind)
{
    unsigned n = 0;
    while (n < POWERS_MOST && value * wp_exact_powers_of_ten[n + 1] < DECIMAL_MOST)
        n++;
    uint64_t whole = (uint64_t)(value * wp_exact_powers_of_ten[n] + 0.5);
    if ((double)whole / wp_exact_powers_of_ten[n] != value)
        return false;
    for (; n > 0 && whole % 10 == 0; n--)
        whole /= 10;
    *digits = whole;
    *behind = n;
    return true;
}

static size_t put_decimal(uint64_t digits, unsigned behind, bool negative, char *text)
{
    char turned[WP_NUMBER_TEXT];
    size_t count = 0;
    for (unsigned place = 0; digits || place <= behind; place++) {
        if (place == behind && place > 0)
            turned[count++] = '.';
        turned[count++] = (char)('0' + digits % 10);
        digits /= 10;
    }
    if (negative)
        turned[count++] = '-';
    for (size_t i = 0; i < count; i++)
        text[i] = turned[count - 1 - i];
    text[count] = '\0';
    return count;
}

/* Gives an exponent that printf wrote ("1e-07") the form AFFN wants, and a point where the locale
 * wrote something else. */
static void tidy(char *text)
{
    for (char *c = text; *c; c++) {
        if (*c == 'e')
            *c = 'E';
        else if (*c == ',')
            *c = '.';
    }
}

size_t wp_number_text(double value, char text[WP_NUMBER_TEXT])
{
    double size = fabs(value);
    bool plain = size >= PLAIN_LEAST && size < DECIMAL_MOST;
    uint64_t digits;
    unsigned behind;
    if (plain && as_decimal(size, &digits, &behind))
        return put_decimal(digits, behind, value < 0.0, text);
    for (int precision = plain ? 16 : 15; precision <= 17; precision++) {
        (void)snprintf(text, WP_NUMBER_TEXT, "%.*g", precision, value);
        tidy(text);
        struct wp_decimal back;
        const char *end = text + strlen(text);
        if (wp_decimal_read(text, end, '.', WP_EXPONENT_ANY, &back) == end && back.value == value)
            break;
    }
    return strlen(text);
}
