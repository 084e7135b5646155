/* Names as people have them, and as people try them on. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fixture.h"
#include "text.h"

static void every_script_has_its_letters(void **state)
{
    (void)state;
    static const char *const names[] = {
        "Łucja Đặng-Ødegård ÀÁÂÃÄÅÆÇĐÈÉÊËÌÍÎÏÐÑÒÓÔÕÖØŒŠÙÚÛÜÝŸŽÞßẞığşňřűőāēģķļņ Nguyễn Thị Hường",
        "Ελένη Παπαδάκη ΐΰςἈἔἮ",
        "Юлия Щербакова Їжак Ґалаґан Ђорђевић",
        "ليلى الحداد پگاه چگينى گل ٹھ",
        "נועה כהן בְּרֵאשִׁית",
        "अनन्या शर्मा क्षत्रिय ज्ञान",
        "田中 さくら アスピリン 髙橋",
        "陈晓明 陳曉明 龍",
        "김하늘 뷁 힣"};
    struct wp_sheet_fonts *fonts = fixture_fonts();
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        int missing = wp_sheet_fonts_missing(fonts, names[i]);
        if (missing)
            fprintf(stderr, "%d missing in %s\n", missing, names[i]);
        assert_int_equal(missing, 0);
    }
    wp_sheet_fonts_free(fonts);
}

static void a_letter_no_font_has_is_counted(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    assert_int_equal(wp_sheet_fonts_missing(fonts, "\xF0\x92\x80\x80"), 1); /* a cuneiform sign */
    wp_sheet_fonts_free(fonts);
}

static void cleaning_takes_away_what_steers_or_hides(void **state)
{
    (void)state;
    char out[SHEET_TEXT_ROOM];
    sheet_clean("a\xE2\x80\xAE"
                "b\xE2\x81\xA7"
                "c\xE2\x80\x8B"
                "d\xE2\x80\xA8"
                "e\xEF\xBB\xBF"
                "f",
                out);
    assert_string_equal(out, "abcdef");
    sheet_clean("tab\there\nnext\x7F", out);
    assert_null(strpbrk(out, "\t\n\x7F"));
    sheet_clean(NULL, out);
    assert_string_equal(out, "");
    sheet_clean("bad \xFF\xC0\xAF end", out);
    assert_true(g_utf8_validate(out, -1, NULL));
    assert_non_null(strstr(out, "end"));
}

static void cleaning_keeps_joiners_that_scripts_need(void **state)
{
    (void)state;
    char out[SHEET_TEXT_ROOM];
    sheet_clean("\xD9\x85\xDB\x8C\xE2\x80\x8C\xD8\xAE", out); /* Persian with a non-joiner */
    assert_string_equal(out, "\xD9\x85\xDB\x8C\xE2\x80\x8C\xD8\xAE");
}

static void marks_do_not_pile_up(void **state)
{
    (void)state;
    char text[300] = "Z";
    for (int i = 0; i < 100; i++)
        memcpy(text + 1 + 2 * i, "\xCC\x82", 3);
    char out[SHEET_TEXT_ROOM];
    sheet_clean(text, out);
    assert_int_equal(strlen(out), 1 + 4 * 2);
}

static void endless_text_is_cut_at_a_letter(void **state)
{
    (void)state;
    char *text = malloc(3 * 100000 + 1);
    assert_non_null(text);
    for (int i = 0; i < 100000; i++)
        memcpy(text + 3 * i, "\xE4\xB8\xAD", 4);
    char out[SHEET_TEXT_ROOM];
    sheet_clean(text, out);
    assert_true(strlen(out) < SHEET_TEXT_ROOM && strlen(out) > 600);
    assert_true(g_utf8_validate(out, -1, NULL));
    free(text);
}

static void a_missing_or_empty_font_file_is_told(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = NULL;
    struct wp_error error;
    assert_int_equal(wp_sheet_fonts_new("/nonexistent/fonts.conf", &fonts, &error), WP_NOT_FOUND);
    assert_null(fonts);
    assert_non_null(strstr(error.text, "/nonexistent/fonts.conf"));
    char path[] = "/tmp/sheet-fonts-XXXXXX";
    int file = mkstemp(path);
    assert_true(file >= 0);
    FILE *out = fdopen(file, "w");
    assert_non_null(out);
    fputs("<?xml version=\"1.0\"?><fontconfig><dir>/nonexistent</dir></fontconfig>", out);
    fclose(out);
    assert_int_equal(wp_sheet_fonts_new(path, &fonts, &error), WP_INVALID);
    assert_null(fonts);
    /* The environment names it as well as the argument. */
    assert_int_equal(setenv("WAVEPOST_FONTS", path, 1), 0);
    assert_int_equal(wp_sheet_fonts_new(NULL, &fonts, &error), WP_INVALID);
    assert_int_equal(unsetenv("WAVEPOST_FONTS"), 0);
    remove(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_script_has_its_letters),
        cmocka_unit_test(a_letter_no_font_has_is_counted),
        cmocka_unit_test(cleaning_takes_away_what_steers_or_hides),
        cmocka_unit_test(cleaning_keeps_joiners_that_scripts_need),
        cmocka_unit_test(marks_do_not_pile_up),
        cmocka_unit_test(endless_text_is_cut_at_a_letter),
        cmocka_unit_test(a_missing_or_empty_font_file_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
