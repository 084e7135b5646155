/* number.h - decimal text to double and back, correctly rounded and free of the locale.
 *
 * Private to the spectrum room. Pure; any thread.
 */
#ifndef SPECTRUM_NUMBER_H
#define SPECTRUM_NUMBER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A decimal number as written: mantissa * 10^exponent. `exact` is false where the mantissa has more
 * than 18 digits or the exponent leaves -999..999; then only `value` holds it. */
struct wp_decimal {
    double value; /* correctly rounded */
    int64_t mantissa;
    int exponent;
    int decimals; /* digits written after the point */
    bool exact;
};

enum wp_exponents {
    WP_EXPONENT_SIGNED, /* only E followed at once by a sign and 1 to 3 digits (JCAMP-DX AFFN) */
    WP_EXPONENT_ANY     /* E or D, sign or none, any digits */
};

/* Reads one number that begins at `p`: optional sign, digits with at most one `point`, exponent.
 * Returns where it ends, NULL if no number begins there. Values beyond the range of double become
 * infinite. Never reads at or past `end`. */
const char *wp_decimal_read(const char *p, const char *end, char point, enum wp_exponents exponents,
                            struct wp_decimal *out);

/* mantissa * 10^exponent, correctly rounded. */
double wp_decimal_value(int64_t mantissa, int exponent);

/* The eight bytes at `p` as digits: how many of them are decimal digits before the first other
 * byte, and their value. */
static inline unsigned wp_digits8(const char *p, uint64_t *value)
{
    uint64_t word;
    __builtin_memcpy(&word, p, 8);
    uint64_t digit = word ^ 0x3030303030303030U;
    uint64_t other =
        (((digit & 0x7F7F7F7F7F7F7F7FU) + 0x7676767676767676U) | digit) & 0x8080808080808080U;
    unsigned count = other ? (unsigned)__builtin_ctzll(other) >> 3 : 8;
    if (count == 0) {
        *value = 0;
        return 0;
    }
    digit <<= 64 - 8 * count;
    digit = digit * 10 + (digit >> 8);
    digit = (((digit & 0x000000FF000000FFU) * 0x000F424000000064U) +
             (((digit >> 16) & 0x000000FF000000FFU) * 0x0000271000000001U)) >>
            32;
    *value = digit;
    return count;
}

extern const uint64_t wp_powers_of_ten[20];
extern const double wp_exact_powers_of_ten[23];

#endif
