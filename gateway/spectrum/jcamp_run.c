/* The ordinates that nearly every line consists of: whole numbers in AFFN, PAC, SQZ, DIF and DUP.
 *
 * Every such number is one byte that is no digit (a blank, a sign, a pseudo-digit) and the digits
 * after it. So the places of all bytes that are no digits are found first, 64 bytes at a time; the
 * numbers then lie between them, and none has to wait for the end of the one before. All state is
 * in local variables. Whatever is not a whole number of at most 8 further digits ends the run and
 * is left to jcamp_table.c.
 */
#ifdef __SSE2__
#include <emmintrin.h>
#endif

#include "jcamp_decode.h"

#define CHUNK 64

struct run_state {
    double *y;
    const double *full; /* where the room for ordinates ends */
    int64_t mantissa;
    int64_t step;
    enum wp_last_form form;
    unsigned seen;
};

/* A bit for each of the 64 bytes at `p` that is no decimal digit. */
static inline uint64_t other_than_digits(const char *p)
{
    uint64_t bits = 0;
#ifdef __SSE2__
    const __m128i zero = _mm_set1_epi8((char)('0' ^ 0x80));
    const __m128i ten = _mm_set1_epi8(-128 + 10);
    for (unsigned i = 0; i < 4; i++) {
        __m128i bytes = _mm_loadu_si128((const __m128i *)(const void *)(p + 16 * (size_t)i));
        __m128i digit = _mm_cmplt_epi8(_mm_sub_epi8(bytes, zero), ten);
        bits |= (uint64_t)(unsigned)_mm_movemask_epi8(digit) << 16 * i;
    }
#else
    for (unsigned i = 0; i < CHUNK; i++)
        bits |= (uint64_t)((unsigned char)(p[i] - '0') < 10) << i;
#endif
    return ~bits;
}

/* The value of `count` digits at `p`, at most 8. */
static inline uint64_t value_of(const char *p, unsigned count)
{
    uint64_t digit;
    __builtin_memcpy(&digit, p, 8);
    digit ^= 0x3030303030303030U;
    digit = count ? digit << (64 - 8 * count) : 0;
    digit = digit * 10 + (digit >> 8);
    return (((digit & 0x000000FF000000FFU) * 0x000F424000000064U) +
            (((digit >> 16) & 0x000000FF000000FFU) * 0x0000271000000001U)) >>
           32;
}

/* True if what begins at `p` makes the number before it more than whole: a decimal point, or E and
 * a sign. */
static inline bool goes_on(const char *p)
{
    bool exponent = ((p[0] | 0x20) == 'e') & ((p[1] == '+') | (p[1] == '-'));
    return exponent | (p[0] == '.');
}

static inline bool repeat(struct run_state *run, uint64_t times)
{
    if (times == 0 || times - 1 > (uint64_t)(run->full - run->y))
        return false;
    int64_t more = (int64_t)times - 1;
    int64_t step = run->form == WP_FORM_VALUE ? 0 : run->step;
    int64_t way;
    int64_t end;
    if (__builtin_mul_overflow(step, more, &way) ||
        __builtin_add_overflow(run->mantissa, way, &end))
        return false;
    for (int64_t i = 1; i <= more; i++)
        *run->y++ = (double)(run->mantissa + i * step);
    run->mantissa = end;
    if (run->form != WP_FORM_VALUE)
        run->form = WP_FORM_REPEATED_DIF;
    return true;
}

/* One number: the byte at `p` and the `count` digits after it. False, and nothing changed, if it is
 * none of ours. */
static inline bool take_number(struct run_state *run, const char *p, unsigned count)
{
    unsigned kind = wp_jclass[(unsigned char)*p];
    if (kind == WP_C_BLANK || kind == WP_C_SIGN) {
        if (count == 0)
            return kind == WP_C_BLANK && !wp_is_word(p + 1);
        int64_t negative = *p == '-';
        run->mantissa = ((int64_t)value_of(p + 1, count) ^ -negative) + negative;
        run->step = 0;
        run->form = WP_FORM_VALUE;
        *run->y++ = (double)run->mantissa;
        return true;
    }
    int lead = wp_jleading[(unsigned char)*p];
    int64_t negative = lead < 0;
    uint64_t value = (uint64_t)(lead < 0 ? -lead : lead) * wp_powers_of_ten[count];
    value += value_of(p + 1, count);
    int64_t number = ((int64_t)value ^ -negative) + negative;
    if (kind == WP_C_DIF) {
        int64_t sum;
        if (__builtin_add_overflow(run->mantissa, number, &sum))
            return false;
        run->mantissa = sum;
        run->step = number;
        run->form = WP_FORM_DIF;
        run->seen |= WP_SEEN_DIF;
    } else if (kind == WP_C_SQZ) {
        run->mantissa = number;
        run->step = 0;
        run->form = WP_FORM_VALUE;
        run->seen |= WP_SEEN_SQZ;
    } else {
        if (kind != WP_C_DUP || !repeat(run, value))
            return false;
        run->seen |= WP_SEEN_DUP;
        return true;
    }
    *run->y++ = (double)run->mantissa;
    return true;
}

static const char *run_numbers(struct run_state *run, const char *p, const char *last)
{
    while (p <= last) {
        const char *chunk = p;
        uint64_t bits = other_than_digits(p);
        if (!(bits & 1))
            return p;
        bits &= bits - 1;
        while (bits) {
            const char *next = chunk + __builtin_ctzll(bits);
            bits &= bits - 1;
            unsigned count = (unsigned)(next - p) - 1;
            if (count > 8 || run->y == run->full || goes_on(next) || !take_number(run, p, count))
                return p;
            p = next;
        }
        if (p == chunk)
            return p;
    }
    return p;
}

const char *wp_jdecoder_run(struct wp_jdecoder *d, const char *p)
{
    if (d->inexact || d->exponent || d->step_exponent || d->form == WP_FORM_MISSING ||
        d->form == WP_FORM_NONE || d->point != '.' || !d->reach || wp_is_word(p))
        return p;
    struct run_state run = {.y = d->y + d->count,
                            .full = d->y + d->room,
                            .mantissa = d->mantissa,
                            .step = d->step,
                            .form = d->form};
    p = run_numbers(&run, p, d->reach);
    d->count = (size_t)(run.y - d->y);
    d->mantissa = run.mantissa;
    d->step = run.step;
    d->form = run.form;
    d->seen |= run.seen;
    return p;
}
