/* What the parser takes is sound, what it does not take is not, for the grammar of RFC 8259. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "base/json.h"

static void values_are_sound(void **state)
{
    static const char *const texts[] = {"{}",
                                        "[]",
                                        "0",
                                        " -1.5e+3 ",
                                        "\"\"",
                                        "\"a\\\"b\\\\\"",
                                        "true",
                                        "null",
                                        "[1, 2,{\"a\":[]}]",
                                        "\r\n{\"a\" : \"\\u00e4\" ,\"b\":false}\t"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (!wp_json_sound(texts[i], strlen(texts[i])))
            fail_msg("%s", texts[i]);
}

static void anything_else_is_not(void **state)
{
    static const char *const texts[] = {
        "",         " ",         "{",     "}",     "[1,]",       "{,}",  "{\"a\"}",
        "{\"a\":}", "{a:1}",     "[1 2]", "\"abc", "\"abc\\\"",  "nul",  "[1]]",
        "{}{}",     "[\"a\":1]", "'a'",   "@",     "{\"a\":1,}", "tru e"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (wp_json_sound(texts[i], strlen(texts[i])))
            fail_msg("%s", texts[i]);
    assert_false(wp_json_sound("{\"a\":1}", 6));
    assert_false(wp_json_sound("1\0", 2));
}

static void depth_has_an_end(void **state)
{
    char text[200001];
    (void)state;
    memset(text, '[', sizeof text);
    assert_false(wp_json_sound(text, sizeof text));
    for (size_t deep = 1; deep < 100; deep++) {
        memset(text, '[', deep);
        memset(text + deep, ']', deep);
        assert_int_equal(wp_json_sound(text, 2 * deep), deep <= 65);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_are_sound),
        cmocka_unit_test(anything_else_is_not),
        cmocka_unit_test(depth_has_an_end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
