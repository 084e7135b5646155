/* Decimal text to double and back: every value as strtod of the C locale rounds it. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "number.h"
#include "spectrum/number_text.h"

static uint64_t state = 88172645463325252U;

static uint64_t random_bits(void)
{
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return state;
}

static void same_as_strtod(const char *text)
{
    struct wp_decimal number;
    const char *end = text + strlen(text);
    const char *stop = wp_decimal_read(text, end, '.', WP_EXPONENT_ANY, &number);
    if (stop != end)
        fail_msg("%s: stopped after %td", text, stop ? stop - text : -1);
    double expected = strtod(text, NULL);
    if (number.value != expected)
        fail_msg("%s: %.17g, not %.17g", text, number.value, expected);
}

static void values_are_correctly_rounded(void **unused)
{
    (void)unused;
    static const char *const hard[] = {
        "0",
        "-0.0",
        "1e23",
        "8.41e21",
        "9007199254740993",
        "9007199254740992.9999999999999999999999999999999999999",
        "2.2250738585072011e-308",
        "4.9406564584124654e-324",
        "2.4703282292062327e-324",
        "2.4703282292062328e-324",
        "1.7976931348623157e308",
        "1.7976931348623159e308",
        "0.500000000000000166533453693773481063544750213623046875",
        "3.518437208883201171875e13",
        "62.5364939768271845828",
        "8.10109172351e-10",
        "1.50000000000000011102230246251565",
        "6929495644600919.5",
        "000000000000000000000000000000000000001234.5000000000000000000000",
        "123456789012345678901234567890e-20",
    };
    for (size_t i = 0; i < sizeof hard / sizeof hard[0]; i++)
        same_as_strtod(hard[i]);
    for (int i = 0; i < 200000; i++) {
        char text[80];
        uint64_t bits = random_bits();
        (void)snprintf(text, sizeof text, "%s%llu.%0*llue%d", bits & 1 ? "-" : "",
                       (unsigned long long)(random_bits() >> (bits >> 1 & 63)),
                       (int)(bits >> 8 & 15) + 1, (unsigned long long)(random_bits() >> 40),
                       (int)(bits >> 16 & 511) - 256);
        same_as_strtod(text);
    }
}

/* Half-way cases of 1,000 digits: what stands last still decides. */
static void very_long_numbers_are_rounded_by_their_last_digit(void **unused)
{
    (void)unused;
    char text[1100];
    (void)snprintf(text, sizeof text, "9007199254740993.");
    size_t used = strlen(text);
    memset(text + used, '0', 1000);
    text[used + 1000] = '\0';
    same_as_strtod(text);
    text[used + 999] = '1';
    same_as_strtod(text);
}

static void the_shortest_text_reads_back_to_the_same_value(void **unused)
{
    (void)unused;
    for (int i = 0; i < 200000; i++) {
        union {
            uint64_t bits;
            double value;
        } any = {.bits = random_bits()};
        if (!isfinite(any.value))
            continue;
        char text[WP_NUMBER_TEXT];
        size_t size = wp_number_text(any.value, text);
        struct wp_decimal back;
        assert_ptr_equal(wp_decimal_read(text, text + size, '.', WP_EXPONENT_SIGNED, &back),
                         text + size);
        assert_true(back.value == any.value);
    }
    char text[WP_NUMBER_TEXT];
    (void)wp_number_text(0.1, text);
    assert_string_equal(text, "0.1");
    (void)wp_number_text(4000, text);
    assert_string_equal(text, "4000");
}

/* What printf writes with the fewest of 15, 16 or 17 digits that read back, and its exponent in
 * capitals. */
static void as_printf_would(double value, char text[WP_NUMBER_TEXT])
{
    for (int precision = 15; precision <= 17; precision++) {
        (void)snprintf(text, WP_NUMBER_TEXT, "%.*g", precision, value);
        if (strtod(text, NULL) == value)
            break;
    }
    char *exponent = strchr(text, 'e');
    if (exponent)
        *exponent = 'E';
}

static void texts_are_those_of_printf(void **unused)
{
    (void)unused;
    char text[WP_NUMBER_TEXT], expected[WP_NUMBER_TEXT];
    const double others[] = {0.0,  -0.0,      1e-4,     9.999e-5, 1e15, 999999999999999.0,
                             1e22, 0.1 + 0.2, 1.0 / 3.0};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        as_printf_would(others[i], expected);
        assert_int_equal(wp_number_text(others[i], text), strlen(expected));
        assert_string_equal(text, expected);
    }
    for (int i = 0; i < 200000; i++) {
        uint64_t bits = random_bits();
        double value =
            (double)(int64_t)(bits >> 12 >> bits % 50) / pow(10.0, (double)(bits / 64 % 20));
        value = bits & 1 << 11 ? -value : value;
        as_printf_would(value, expected);
        (void)wp_number_text(value, text);
        assert_string_equal(text, expected);
    }
}

static void eight_digits_are_taken_at_once(void **unused)
{
    (void)unused;
    for (unsigned count = 0; count <= 8; count++) {
        for (int other = 0; other < 256; other++) {
            if (other >= '0' && other <= '9')
                continue;
            char text[9] = "98765432";
            uint64_t expected = 0;
            for (unsigned i = 0; i < count; i++)
                expected = expected * 10 + (uint64_t)(text[i] - '0');
            if (count < 8)
                text[count] = (char)other;
            uint64_t value;
            assert_int_equal(wp_digits8(text, &value), count);
            assert_int_equal(value, expected);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_are_correctly_rounded),
        cmocka_unit_test(very_long_numbers_are_rounded_by_their_last_digit),
        cmocka_unit_test(the_shortest_text_reads_back_to_the_same_value),
        cmocka_unit_test(texts_are_those_of_printf),
        cmocka_unit_test(eight_digits_are_taken_at_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
