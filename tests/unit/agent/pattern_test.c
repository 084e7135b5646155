#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "kinds.h"
#include "pattern.h"

static void wildcards_stay_within_their_part(void **state)
{
    (void)state;
    assert_true(wp_pattern_match("*.jdx", "a.jdx"));
    assert_false(wp_pattern_match("*.jdx", "sub/a.jdx"));
    assert_true(wp_pattern_match("Users/*/Documents/IR", "Users/ada/Documents/IR"));
    assert_false(wp_pattern_match("Users/*/Documents/IR", "Users/a/b/Documents/IR"));
    assert_true(wp_pattern_match("run?.csv", "run7.csv"));
    assert_false(wp_pattern_match("run?.csv", "run.csv"));
    assert_true(wp_pattern_match("a*b*c", "axxbyybzzc"));
    assert_false(wp_pattern_match("a*b*c", "axxbyybzz"));
}

static void double_stars_stand_for_any_number_of_parts(void **state)
{
    (void)state;
    assert_true(wp_pattern_match("**/a.jdx", "a.jdx"));
    assert_true(wp_pattern_match("**/a.jdx", "x/y/a.jdx"));
    assert_true(wp_pattern_match("x/**/z", "x/z"));
    assert_true(wp_pattern_match("x/**/z", "x/1/2/3/z"));
    assert_false(wp_pattern_match("x/**/z", "y/1/z"));
}

static void a_folders_pattern_takes_what_is_below(void **state)
{
    (void)state;
    struct wp_patterns patterns = {.include_count = 1, .exclude_count = 1};
    strcpy(patterns.include[0], "Users/*/Documents/IR");
    strcpy(patterns.exclude[0], "**/private");
    assert_true(wp_patterns_take(&patterns, "Users/ada/Documents/IR/x/a.jdx"));
    assert_false(wp_patterns_take(&patterns, "Users/ada/Documents/a.jdx"));
    assert_false(wp_patterns_take(&patterns, "Users/ada/Documents/IR/private/a.jdx"));
    assert_true(wp_patterns_enter(&patterns, "Users"));
    assert_true(wp_patterns_enter(&patterns, "Users/ada/Documents/IR/x"));
    assert_false(wp_patterns_enter(&patterns, "Users/ada/Music"));
    assert_false(wp_patterns_enter(&patterns, "Users/ada/Documents/IR/private"));
    patterns.include_count = 0;
    assert_true(wp_patterns_take(&patterns, "anything/at/all"));
}

static void unusable_patterns_are_refused(void **state)
{
    (void)state;
    char many[WP_PATTERN_MOST + 1];
    memset(many, 'a', sizeof many - 1);
    many[sizeof many - 1] = '\0';
    assert_false(wp_pattern_usable(""));
    assert_false(wp_pattern_usable("/abs"));
    assert_false(wp_pattern_usable("a/../b"));
    assert_false(wp_pattern_usable("a//b"));
    assert_false(wp_pattern_usable("**/**/**/**"));
    assert_false(wp_pattern_usable(many));
    assert_true(wp_pattern_usable("a/**/b*"));
}

static void files_are_told_apart_by_name(void **state)
{
    (void)state;
    assert_int_equal(wp_kind_of("a.JDX"), WP_KIND_JCAMP);
    assert_int_equal(wp_kind_of("a.b.dx"), WP_KIND_JCAMP);
    assert_int_equal(wp_kind_of("a.Csv"), WP_KIND_TEXT);
    assert_int_equal(wp_kind_of("a.jdx.tmp"), WP_KIND_IGNORED);
    assert_int_equal(wp_kind_of(".a.jdx"), WP_KIND_IGNORED);
    assert_int_equal(wp_kind_of("~$a.csv"), WP_KIND_IGNORED);
    assert_int_equal(wp_kind_of("a"), WP_KIND_OTHER);
    assert_int_equal(wp_kind_of("a.exe"), WP_KIND_OTHER);
}

static bool complete(const char *text)
{
    return wp_jcamp_complete(text, strlen(text));
}

static void a_jcamp_file_is_complete_when_every_block_has_ended(void **state)
{
    (void)state;
    assert_true(complete("##TITLE=a\r\n400 1 2\r\n##END=\r\n"));
    assert_true(complete("##title= a\n##end= nothing\n\n  \n"));
    assert_true(complete("##TITLE=l\n##TITLE=a\n##END=\n##TITLE=b\n##END=\n##END="));
    assert_false(complete("##TITLE=l\n##TITLE=a\n##END=\n##TITLE=b\n##END=\n"));
    assert_false(complete("##TITLE=a\n##END=\n##TITLE=b\n"));
    assert_false(complete("##TITLE=a\n400 1 2\n"));
    assert_false(complete("##TITLE=a\n##EN"));
    assert_false(complete("##END=\n"));
    assert_false(complete(""));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wildcards_stay_within_their_part),
        cmocka_unit_test(double_stars_stand_for_any_number_of_parts),
        cmocka_unit_test(a_folders_pattern_takes_what_is_below),
        cmocka_unit_test(unusable_patterns_are_refused),
        cmocka_unit_test(files_are_told_apart_by_name),
        cmocka_unit_test(a_jcamp_file_is_complete_when_every_block_has_ended),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
