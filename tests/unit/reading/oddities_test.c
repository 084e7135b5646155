/* What real files do and the standard does not say: each is read, and a warning names it. */
#include "reading_fixture.h"

#define RANGE "##FIRSTX=4000\n##LASTX=3996\n##NPOINTS=5\n"
#define TABLE "##XYDATA=(X++(Y..Y))\n4000 900 800 700\n3997 600 500"

/* Reads a block and holds it to 5 good points and a warning. */
static void odd(const char *extra, const char *table, const char *label, const char *words)
{
    struct wp_reading r = read_ok(block(extra, table));
    assert_int_equal(r.spectra[0].count, 5);
    assert_true(fabs(r.spectra[0].y[4] - 0.5) < 1e-12);
    assert_true(fabs(r.spectra[0].x[4] - 3996.0) < 1e-9);
    assert_true(warned(&r, label, words));
    wp_reading_release(&r);
}

static void a_wrong_npoints_is_told_and_the_lines_decide(void **state)
{
    (void)state;
    odd("##FIRSTX=4000\n##LASTX=3996\n##NPOINTS=9\n", TABLE, "NPOINTS", "the table has 5");
    odd("##FIRSTX=4000\n##LASTX=3996\n##NPOINTS=4\n", TABLE, "NPOINTS", "the table has 5");
    odd("##FIRSTX=4000\n##LASTX=3996\n", TABLE, "NPOINTS", "missing");
    odd("##FIRSTX=4000\n##LASTX=3992\n##NPOINTS=9\n", TABLE, "NPOINTS", "the table has 5");
}

static void missing_ends_are_taken_from_delta_and_lines(void **state)
{
    (void)state;
    odd("##FIRSTX=4000\n##DELTAX=-1\n##NPOINTS=5\n", TABLE, "LASTX", "DELTAX");
    odd("##FIRSTX=4000\n##NPOINTS=5\n", TABLE, "LASTX", "lines");
    odd("##LASTX=3996\n##NPOINTS=5\n", TABLE, "FIRSTX", "first line");
}

static void abscissae_that_cannot_be_known_are_an_error(void **state)
{
    (void)state;
    struct wp_reading r =
        read_bad(block("##FIRSTX=4000\n##NPOINTS=3\n", "##XYDATA=(X++(Y..Y))\n4000 900 800 700"),
                 WP_INVALID);
    assert_int_equal(r.error.line, 12);
    wp_reading_release(&r);
    /* A lost line: named is the first one after it. */
    r = read_bad(block("##FIRSTX=1\n##LASTX=30\n##NPOINTS=30\n",
                       "##XYDATA=(X++(Y..Y))\n1 1 2 3 4 5\n6 6 7 8 9 10\n11 1 2 3 4 5\n"
                       "21 1 2 3 4 5\n26 1 2 3 4 5"),
                 WP_INVALID);
    assert_int_equal(r.error.line, 17);
    assert_string_equal(r.dialect, "JCAMP-DX 4.24, AFFN");
    wp_reading_release(&r);
}

static void the_x_of_a_line_is_only_a_check(void **state)
{
    (void)state;
    odd(RANGE, "##XYDATA=(X++(Y..Y))\n4000 900 800 700\n3996 600 500", "XYDATA", "X-check");
    struct wp_reading r =
        read_ok(block(RANGE, "##XYDATA=(X++(Y..Y))\n4000 900 800 700\n3996 600 500"));
    assert_int_equal(warned_line(&r, "XYDATA"), 15);
    wp_reading_release(&r);
    /* An abscissa cut to whole numbers is right to its last digit. */
    r = read_ok(block("##FIRSTX=4000.7\n##LASTX=3999.1\n##NPOINTS=5\n",
                      "##XYDATA=(X++(Y..Y))\n4000 900 800 700\n3999 600 500"));
    assert_int_equal(r.warning_count, 0);
    wp_reading_release(&r);
}

static void exchanged_ends_follow_the_lines(void **state)
{
    (void)state;
    odd("##FIRSTX=3996\n##LASTX=4000\n##NPOINTS=5\n",
        "##XYDATA=(X++(Y..Y))\n4000 900\n3999 800\n3998 700\n3997 600\n3996 500", "FIRSTX",
        "exchanged");
}

static void a_missing_end_is_told(void **state)
{
    (void)state;
    char text[2048];
    (void)snprintf(text, sizeof text, "%s", block(RANGE, TABLE));
    *strstr(text, "##END") = '\0';
    struct wp_reading r = read_ok(text);
    assert_int_equal(r.spectra[0].count, 5);
    assert_true(warned(&r, "END", "no ##END="));
    wp_reading_release(&r);
    /* The next block begins where this one should have ended. */
    char two[4096];
    (void)snprintf(two, sizeof two, "%s%s", text, block(RANGE, TABLE));
    r = read_ok(two);
    assert_int_equal(r.spectrum_count, 2);
    assert_true(warned(&r, "END", "no ##END="));
    wp_reading_release(&r);
}

static void a_file_cut_inside_a_number_loses_that_number(void **state)
{
    (void)state;
    char text[2048];
    (void)snprintf(text, sizeof text, "%s",
                   block("##FIRSTX=4000\n##LASTX=3992\n##NPOINTS=9\n", TABLE));
    *strstr(text, "0\n##END") = '\0';
    struct wp_reading r = read_ok(text);
    assert_int_equal(r.spectra[0].count, 4);
    assert_true(warned(&r, "XYDATA", "inside a number"));
    assert_true(warned(&r, "NPOINTS", "the table has 4"));
    assert_true(r.spectra[0].x[3] == 3997.0);
    wp_reading_release(&r);
}

static void percent_under_transmittance_is_percent(void **state)
{
    (void)state;
    struct wp_reading r =
        read_ok(block(RANGE, "##XYDATA=(X++(Y..Y))\n4000 90000 80000 70000\n3997 60000 50000"));
    assert_int_equal(r.spectra[0].y_unit, WP_Y_PERCENT);
    assert_true(r.spectra[0].y[0] == 90000 * 0.001);
    assert_true(warned(&r, "YUNITS", "percent"));
    assert_int_equal(warned_line(&r, "YUNITS"), 7);
    wp_reading_release(&r);
}

static void other_words_for_units_are_told(void **state)
{
    (void)state;
    struct wp_reading r =
        read_ok("##TITLE=\n##JCAMP_DX=4.24\n##DATATYPE=INFRARED SPECTRUM\n"
                "##XUNITS=cm-1\n##YUNITS=%T\n##XFACTOR=1\n##YFACTOR=1\n" RANGE TABLE
                "\n##END=$$ End of the data block\n");
    assert_true(warned(&r, "XUNITS", "taken as cm-1"));
    assert_true(warned(&r, "YUNITS", "taken as percent"));
    assert_int_equal(r.warning_count, 2);
    wp_reading_release(&r);
}

static void columns_that_overflow_into_each_other_are_parted_by_signs(void **state)
{
    (void)state;
    struct wp_reading r =
        read_ok(block(RANGE, "##XYDATA=(X++(Y..Y))\n4000 138264-105172   700\n3997   600-500"));
    const double y[] = {138264 * 0.001, -105172 * 0.001, 700 * 0.001, 600 * 0.001, -500 * 0.001};
    expect_y(&r, 0, 5, y);
    wp_reading_release(&r);
}

static void fields_without_a_number_are_missing(void **state)
{
    (void)state;
    struct wp_reading r =
        read_ok(block(RANGE, "##XYDATA=(X++(Y..Y))\n4000 900 NaN *****\n3997 -inf 500"));
    const double y[] = {900 * 0.001, NAN, NAN, NAN, 500 * 0.001};
    expect_y(&r, 0, 5, y);
    assert_true(warned(&r, "XYDATA", "missing"));
    wp_reading_release(&r);
}

static void writers_without_check_values_are_found_by_npoints(void **state)
{
    (void)state;
    odd(RANGE, "##XYDATA=(X++(Y..Y))\n4000I00j00j00\n3997F00j00", "XYDATA", "without check values");
    /* A repeated difference at the end of a line, and no check after it. */
    odd("##FIRSTX=4000\n##LASTX=3996\n##NPOINTS=5\n",
        "##XYDATA=(X++(Y..Y))\n4000I00j00T\n3997F00E00", "XYDATA", "repeated differences");
}

static void a_wrong_last_check_alone_is_a_warning(void **state)
{
    (void)state;
    odd(RANGE, "##XYDATA=(X++(Y..Y))\n4000I00j00j00\n3998G00j00j00\n3996E01", "XYDATA",
        "check value of the last line");
}

static void a_final_repeat_without_need_is_dropped(void **state)
{
    (void)state;
    struct wp_reading r =
        read_ok(block(RANGE, "##XYDATA=(X++(Y..Y))\n4000I00H00G00\n3997F00E00\n3996E00"));
    assert_int_equal(r.spectra[0].count, 5);
    wp_reading_release(&r);
}

static void lines_that_go_on_with_a_difference_are_read(void **state)
{
    (void)state;
    odd(RANGE, "##XYDATA=(X++(Y..Y))\n4000I00j00j00\n3997j00j00", "XYDATA",
        "begin with a difference");
}

static void a_lost_bracket_or_variable_list_is_seen_through(void **state)
{
    (void)state;
    struct wp_reading r =
        read_ok(block(RANGE, "##XYDATA= (X++(Y..Y)\n4000 900 800 700\n3997 600 500"));
    assert_int_equal(r.spectra[0].count, 5);
    wp_reading_release(&r);
    odd(RANGE, "##XYDATA=\n4000 900 800 700\n3997 600 500", "XYDATA", "no variable list");
}

static void one_pair_a_line_is_still_evenly_spaced(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(
        block(RANGE, "##XYDATA=(X++(Y..Y))\n4000  900\n3999  800\n3998 700\n3997 600\n3996 500"));
    assert_int_equal(r.spectra[0].count, 5);
    assert_int_equal(r.warning_count, 0);
    wp_reading_release(&r);
}

static void decimal_commas_are_read_and_told(void **state)
{
    (void)state;
    odd("##FIRSTX=4000,0\n##LASTX=3996,0\n##NPOINTS=5\n",
        "##XYDATA=(X++(Y..Y))\n4000,0 900,0 800,0 700,0\n3997,0 600,0 500,0", "XYDATA",
        "decimal commas");
}

static void old_text_is_read_as_windows_1252(void **state)
{
    (void)state;
    struct wp_reading r =
        read_ok("##TITLE=Caf\xE9 5 \x80\n##JCAMP-DX=4.24\n"
                "##DATA TYPE=INFRARED SPECTRUM\n##XUNITS=1/CM\n"
                "##YUNITS=ABSORBANCE\n##XFACTOR=1\n##YFACTOR=1\n" RANGE TABLE "\n##END=\n");
    assert_string_equal(r.spectra[0].title, "Caf\xC3\xA9 5 \xE2\x82\xAC");
    assert_true(warned(&r, "TITLE", "Windows-1252"));
    wp_reading_release(&r);
}

static void a_byte_order_mark_or_text_around_does_no_harm(void **state)
{
    (void)state;
    char text[4096];
    (void)snprintf(text, sizeof text, "\xEF\xBB\xBF\n  %s\n\x1A", block(RANGE, TABLE));
    struct wp_reading r = read_ok(text);
    assert_int_equal(r.warning_count, 0);
    wp_reading_release(&r);
    (void)snprintf(text, sizeof text, "exported by hand\n%sbye\n", block(RANGE, TABLE));
    r = read_ok(text);
    assert_true(warned(&r, "", "before ##TITLE="));
    assert_true(warned(&r, "END", "after ##END="));
    wp_reading_release(&r);
}

static void header_extremes_that_disagree_are_told(void **state)
{
    (void)state;
    odd(RANGE "##MAXY=0.95\n", TABLE, "MAXY", "the data give 0.9");
    odd(RANGE "##FIRSTY=0\n", TABLE, "FIRSTY", "FIRSTY is 0");
    struct wp_reading r = read_ok(block(RANGE "##MAXY=0.9\n##MINY=0.50\n##FIRSTY=0.9\n", TABLE));
    assert_int_equal(r.warning_count, 0);
    wp_reading_release(&r);
}

/* Styles seen in public collections; seconds since 1970 computed with date(1). */
static void dates_of_many_styles_are_read(void **state)
{
    (void)state;
    static const struct {
        const char *labels;
        long long seconds;
        bool told;
    } cases[] = {
        {"##DATE=98/10/1\n##TIME=10:11:12\n", 907236672, false},
        {"##DATE=81/ 1/ 3\n", 347328000, false},
        {"##DATE=03/30/90\n", 638755200, true},
        {"##DATE=13/2/1997\n", 855792000, true},
        {"##DATE=28/8/2023\n", 1693180800, true},
        {"##DATE=01 Jun 2009 09:15:48\n", 1243847748, true},
        {"##LONG DATE=2016/11/22\n##TIME=08:00:00\n", 1479801600, false},
        {"##LONG DATE=2000/09/28 14:24:38 +0100\n", 970147478, false},
        {"##LONG DATE=2016/12/27 07:19:30.000\n", 1482823170, false},
        {"##LONGDATE=2023-08-28T09:15:48Z\n", 1693214148, false},
        {"##DATE=2026/03/02\n##TIME=2:15:48 PM\n", 1772460948, false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char extra[512];
        (void)snprintf(extra, sizeof extra, "%s%s", RANGE, cases[i].labels);
        struct wp_reading r = read_ok(block(extra, TABLE));
        assert_true(r.spectra[0].time.present);
        if (r.spectra[0].time.utc_us != cases[i].seconds * 1000000)
            fail_msg("%s gives %lld", cases[i].labels,
                     (long long)(r.spectra[0].time.utc_us / 1000000));
        assert_int_equal(r.warning_count > 0, cases[i].told);
        wp_reading_release(&r);
    }
    struct wp_reading r = read_ok(block(RANGE "##DATE=1964\n", TABLE));
    assert_false(r.spectra[0].time.present);
    assert_true(warned(&r, "DATE", "not a date"));
    wp_reading_release(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_wrong_npoints_is_told_and_the_lines_decide),
        cmocka_unit_test(missing_ends_are_taken_from_delta_and_lines),
        cmocka_unit_test(abscissae_that_cannot_be_known_are_an_error),
        cmocka_unit_test(the_x_of_a_line_is_only_a_check),
        cmocka_unit_test(exchanged_ends_follow_the_lines),
        cmocka_unit_test(a_missing_end_is_told),
        cmocka_unit_test(a_file_cut_inside_a_number_loses_that_number),
        cmocka_unit_test(percent_under_transmittance_is_percent),
        cmocka_unit_test(other_words_for_units_are_told),
        cmocka_unit_test(columns_that_overflow_into_each_other_are_parted_by_signs),
        cmocka_unit_test(fields_without_a_number_are_missing),
        cmocka_unit_test(writers_without_check_values_are_found_by_npoints),
        cmocka_unit_test(a_wrong_last_check_alone_is_a_warning),
        cmocka_unit_test(a_final_repeat_without_need_is_dropped),
        cmocka_unit_test(lines_that_go_on_with_a_difference_are_read),
        cmocka_unit_test(a_lost_bracket_or_variable_list_is_seen_through),
        cmocka_unit_test(one_pair_a_line_is_still_evenly_spaced),
        cmocka_unit_test(decimal_commas_are_read_and_told),
        cmocka_unit_test(old_text_is_read_as_windows_1252),
        cmocka_unit_test(a_byte_order_mark_or_text_around_does_no_harm),
        cmocka_unit_test(header_extremes_that_disagree_are_told),
        cmocka_unit_test(dates_of_many_styles_are_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
