#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "base/bytes.h"

static void grows_to_its_limit_and_no_further(void **state)
{
    (void)state;
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 10);
    assert_int_equal(wp_bytes_add_text(&bytes, "12345"), WP_OK);
    assert_int_equal(wp_bytes_addf(&bytes, "%d", 67890), WP_OK);
    assert_int_equal(wp_bytes_add_byte(&bytes, 'x'), WP_TOO_LARGE);
    assert_string_equal(bytes.data, "1234567890");
    wp_bytes_release(&bytes);
}

static void hexadecimal_goes_both_ways(void **state)
{
    (void)state;
    unsigned char back[3];
    char text[7];
    wp_hex_encode("\x00\xAB\xFF", 3, text);
    assert_string_equal(text, "00abff");
    assert_true(wp_hex_decode("00ABff", back, 3));
    assert_memory_equal(back, "\x00\xAB\xFF", 3);
    assert_false(wp_hex_decode("00ABf", back, 3));
    assert_false(wp_hex_decode("00ABfff", back, 3));
    assert_false(wp_hex_decode("00ABfg", back, 3));
}

/* Ill-formed sequences of RFC 3629, sections 3, 4 and 10. */
static void utf8_is_checked(void **state)
{
    (void)state;
    assert_true(wp_utf8_valid("a\xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x80", 10));
    assert_false(wp_utf8_valid("\xC0\x80", 2));
    assert_false(wp_utf8_valid("\xED\xA0\x80", 3));
    assert_false(wp_utf8_valid("\xF4\x90\x80\x80", 4));
    assert_false(wp_utf8_valid("\xE2\x82", 2));
    assert_int_equal(wp_utf8_cut("a\xC3\xA9z", 4, 2), 1);
    char out[8];
    wp_text_copy(out, 4, "ab\xC3\xA9");
    assert_string_equal(out, "ab");
    wp_text_copy(out, sizeof out, NULL);
    assert_string_equal(out, "");
    wp_text_clean("a\n\xFF", 3, out, sizeof out);
    assert_string_equal(out, "a\xEF\xBF\xBD\xEF\xBF\xBD");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(grows_to_its_limit_and_no_further),
        cmocka_unit_test(hexadecimal_goes_both_ways),
        cmocka_unit_test(utf8_is_checked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
