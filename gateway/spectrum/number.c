#include "number.h"

#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define EXACT_DIGITS 18
/* A decimal number closer than this many digits to a rounding boundary does not exist: 767 digits
 * decide every case of IEEE 754 double; one more tells "beyond" from "at". */
#define KEPT_DIGITS 780
#define LARGEST_EXPONENT 100000

const uint64_t wp_powers_of_ten[20] = {
    1U,
    10U,
    100U,
    1000U,
    10000U,
    100000U,
    1000000U,
    10000000U,
    100000000U,
    1000000000U,
    10000000000U,
    100000000000U,
    1000000000000U,
    10000000000000U,
    100000000000000U,
    1000000000000000U,
    10000000000000000U,
    100000000000000000U,
    1000000000000000000U,
    10000000000000000000U,
};

const double wp_exact_powers_of_ten[23] = {
    1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
    1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* strtod of the C locale, whatever the program's own is. glibc returns its built-in object for "C",
 * so nothing is allocated. */
static double slow_value(const char *text)
{
    locale_t c = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    double value = strtod_l(text, NULL, c);
    freelocale(c);
    return value;
}

double wp_decimal_value(int64_t mantissa, int exponent)
{
    int64_t exact = (int64_t)1 << 53;
    if (mantissa >= -exact && mantissa <= exact && exponent >= -22 && exponent <= 22) {
        /* Both operands are exact, so the one operation rounds correctly (Clinger 1990). */
        double value = (double)mantissa;
        return exponent < 0 ? value / wp_exact_powers_of_ten[-exponent]
                            : value * wp_exact_powers_of_ten[exponent];
    }
    char text[48];
    (void)snprintf(text, sizeof text, "%lldE%d", (long long)mantissa, exponent);
    return slow_value(text);
}

/* The digits of one number as they are read. */
struct digits {
    char kept[KEPT_DIGITS + 2];
    size_t count;  /* significant digits kept */
    long dropped;  /* significant digits before the point that were not kept */
    long after;    /* kept digits that stand after the point */
    int decimals;  /* all digits after the point */
    bool any;      /* a digit was seen at all */
    bool sticky;   /* a digit that was not kept is not zero */
    uint64_t head; /* value of the first EXACT_DIGITS significant digits */
};

static void add_digit(struct digits *d, char c, bool after_point)
{
    d->any = true;
    if (after_point && d->decimals < LARGEST_EXPONENT)
        d->decimals++;
    if (d->count == 0 && c == '0') {
        d->after += after_point;
        return;
    }
    if (d->count < KEPT_DIGITS) {
        if (d->count < EXACT_DIGITS)
            d->head = d->head * 10 + (uint64_t)(c - '0');
        d->kept[d->count++] = c;
        d->after += after_point;
        return;
    }
    d->sticky |= c != '0';
    d->dropped += !after_point;
}

static const char *read_exponent(const char *p, const char *end, enum wp_exponents rule,
                                 long *exponent)
{
    const char *q = p;
    bool letter = q < end && (*q == 'E' || *q == 'e');
    if (rule == WP_EXPONENT_ANY)
        letter = letter || (q < end && (*q == 'D' || *q == 'd'));
    if (!letter)
        return p;
    q++;
    bool negative = q < end && *q == '-';
    bool sign = negative || (q < end && *q == '+');
    if (!sign && rule == WP_EXPONENT_SIGNED)
        return p;
    q += sign;
    const char *first = q;
    long value = 0;
    while (q < end && is_digit(*q)) {
        if (value < LARGEST_EXPONENT)
            value = value * 10 + (*q - '0');
        q++;
    }
    if (q == first || (rule == WP_EXPONENT_SIGNED && q - first > 3))
        return p;
    *exponent = negative ? -value : value;
    return q;
}

static double long_value(struct digits *d, bool negative, long exponent)
{
    char text[KEPT_DIGITS + 40];
    if (d->sticky)
        d->kept[d->count++] = '1', exponent--;
    (void)snprintf(text, sizeof text, "%s%.*sE%ld", negative ? "-" : "", (int)d->count, d->kept,
                   exponent);
    return slow_value(text);
}

const char *wp_decimal_read(const char *p, const char *end, char point, enum wp_exponents exponents,
                            struct wp_decimal *out)
{
    struct digits d;
    d.count = 0;
    d.dropped = d.after = 0;
    d.decimals = 0;
    d.any = d.sticky = false;
    d.head = 0;
    bool negative = p < end && *p == '-';
    if (negative || (p < end && *p == '+'))
        p++;
    bool after_point = false;
    for (; p < end; p++) {
        if (is_digit(*p))
            add_digit(&d, *p, after_point);
        else if (*p == point && !after_point)
            after_point = true;
        else
            break;
    }
    if (!d.any)
        return NULL;
    long exponent = 0;
    p = read_exponent(p, end, exponents, &exponent);
    exponent += d.dropped - d.after;
    out->decimals = d.decimals;
    out->exact = d.count <= EXACT_DIGITS && exponent > -1000 && exponent < 1000;
    if (d.count == 0)
        exponent = 0, out->exact = true;
    if (out->exact) {
        out->mantissa = negative ? -(int64_t)d.head : (int64_t)d.head;
        out->exponent = (int)exponent;
        out->value = wp_decimal_value(out->mantissa, out->exponent);
        if (negative && d.count == 0)
            out->value = 0.0;
    } else {
        out->mantissa = 0;
        out->exponent = 0;
        out->value = long_value(&d, negative, exponent);
    }
    return p;
}
