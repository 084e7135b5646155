/* Delimited text: the dialect is found by evidence, and what was decided is told. */
#include "reading_fixture.h"

static void expect_x(const struct wp_reading *r, size_t spectrum, size_t count, const double *x)
{
    assert_int_equal(r->spectra[spectrum].count, count);
    for (size_t i = 0; i < count; i++)
        assert_true(r->spectra[spectrum].x[i] == x[i]);
}

static void separators_and_decimal_signs_are_found(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        const char *dialect;
    } cases[] = {
        {"cm-1,%T\n400.5,90.25\n401.5,80\n402.5,70.5\n", "comma, decimal point"},
        {"cm-1;%T\n400.5;90.25\n401.5;80\n402.5;70.5\n", "semicolon, decimal point"},
        {"cm-1;%T\n400,5;90,25\n401,5;80\n402,5;70,5\n", "semicolon, decimal comma"},
        {"cm-1\t%T\n400,5\t90,25\n401,5\t80\n402,5\t70,5\n", "tab, decimal comma"},
        {"cm-1\t%T\r\n400.5\t90.25\r\n401.5\t80\r\n402.5\t70.5\r\n", "tab, decimal point"},
        {"cm-1 %T\n 400.5   90.25\n 401.5   80\n 402.5   70.5\n", "blanks, decimal point"},
        {"cm-1 %T\r400,5 90,25\r401,5 80\r402,5 70,5\r", "blanks, decimal comma"},
        {"\"cm-1\",\"%T\"\n\"400.5\",\"90.25\"\n\"401.5\",\"80\"\n\"402.5\",\"70.5\"\n",
         "comma, decimal point"},
        {"cm-1,%T\n4.005E2,9.025e+01\n4.015E2,8E1\n4.025E2,7.05E+1\n", "comma, decimal point"},
        {"sep=;\ncm-1;%T\n400.5;90.25;\n401.5;80;\n402.5;70.5;\n", "semicolon, decimal point"},
    };
    static const double x[] = {400.5, 401.5, 402.5};
    static const double y[] = {90.25, 80, 70.5};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wp_reading r = read_ok(cases[i].text);
        assert_int_equal(r.format, WP_FORMAT_DELIMITED);
        assert_string_equal(r.dialect, cases[i].dialect);
        assert_int_equal(r.spectrum_count, 1);
        expect_x(&r, 0, 3, x);
        expect_y(&r, 0, 3, y);
        assert_int_equal(r.spectra[0].x_unit, WP_X_CM1);
        assert_int_equal(r.spectra[0].y_unit, WP_Y_PERCENT);
        assert_int_equal(r.warning_count, 0);
        wp_reading_release(&r);
    }
}

static void header_lines_become_labels(void **state)
{
    (void)state;
    struct wp_reading r =
        read_ok("Title,Film A\nSample,A\nDate,2026-03-02 10:11:12\nResolution,4 cm-1\n"
                "# Scans = 16\n\nWavenumber (cm-1),Absorbance\n"
                "4000,0.1\n3999,0.2\n3998,0.3\n");
    const struct wp_spectrum *s = &r.spectra[0];
    assert_string_equal(s->title, "Film A");
    assert_string_equal(wp_spectrum_label(s, "RESOLUTION"), "4 cm-1");
    assert_string_equal(wp_spectrum_label(s, "SAMPLE"), "A");
    assert_true(s->resolution == 4.0);
    assert_int_equal(s->scans, 16);
    assert_true(s->time.present && s->time.has_time);
    assert_int_equal(s->time.utc_us / 1000000, 1772446272);
    assert_int_equal(s->y_unit, WP_Y_ABSORBANCE);
    assert_int_equal(s->technique, WP_INFRARED);
    wp_reading_release(&r);
}

static void units_without_a_header_are_guessed_and_told(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("4000,98.1\n3000,97.2\n2000,96.5\n1000,12.5\n400,95\n");
    assert_int_equal(r.spectra[0].x_unit, WP_X_CM1);
    assert_int_equal(r.spectra[0].y_unit, WP_Y_PERCENT);
    assert_true(warned(&r, "x", "by its range") && warned(&r, "y", "by its values"));
    wp_reading_release(&r);
    r = read_ok("2.5,0.981\n5,0.972\n7.5,0.965\n10,0.125\n15,0.95\n");
    assert_int_equal(r.spectra[0].x_unit, WP_X_UM);
    assert_int_equal(r.spectra[0].y_unit, WP_Y_TRANSMITTANCE);
    wp_reading_release(&r);
    r = read_ok("200,0.01\n300,0.02\n400,1.25\n500,0.03\n800,0.01\n");
    assert_int_equal(r.spectra[0].x_unit, WP_X_NM);
    assert_int_equal(r.spectra[0].y_unit, WP_Y_ABSORBANCE);
    assert_int_equal(r.spectra[0].technique, WP_UV_VIS);
    wp_reading_release(&r);
}

static void more_columns_are_more_spectra(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("cm-1,%T,Absorbance\n4000,10,1.0\n3999,20,0.7\n3998,30,0.5\n");
    assert_int_equal(r.spectrum_count, 2);
    assert_int_equal(r.spectra[0].y_unit, WP_Y_PERCENT);
    assert_int_equal(r.spectra[1].y_unit, WP_Y_ABSORBANCE);
    wp_reading_release(&r);
    r = read_ok("no,cm-1,A\n1,4000,0.1\n2,3999,0.2\n3,3998,0.3\n");
    static const double x[] = {4000, 3999, 3998};
    assert_int_equal(r.spectrum_count, 1);
    expect_x(&r, 0, 3, x);
    wp_reading_release(&r);
    r = read_ok("cm-1,A,band\n4000,0.1,none\n3999,0.2,C-H\n3998,0.3,C-H\n");
    assert_int_equal(r.spectrum_count, 1);
    assert_true(warned(&r, "", "holds text"));
    wp_reading_release(&r);
}

static void missing_ordinates_stay_missing(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("cm-1;A\n400;0,1\n401;\n402;NaN\n403;-\n404;***\n405;0,2\n");
    const double y[] = {0.1, NAN, NAN, NAN, NAN, 0.2};
    expect_y(&r, 0, 6, y);
    wp_reading_release(&r);
}

static void what_follows_the_data_is_ignored_and_told(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("cm-1,A\n400,0.1\n401,0.2\n402,0.3\nEnd of report\npage 1\n");
    assert_int_equal(r.spectra[0].count, 3);
    assert_int_equal(warned_line(&r, ""), 5);
    wp_reading_release(&r);
}

static void a_damaged_line_among_the_data_is_an_error(void **state)
{
    (void)state;
    struct wp_reading r =
        read_bad("cm-1,A\n400,0.1\n401,0.2\n402,0.x3\n403,0.4\n404,0.5\n", WP_INVALID);
    assert_int_equal(r.error.line, 4);
    wp_reading_release(&r);
}

static void a_second_list_is_a_second_spectrum(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("cm-1,A\n400,0.1\n401,0.2\n402,0.3\n\nsecond\ncm-1,%T\n"
                                  "400,10\n401,20\n402,30\n");
    assert_int_equal(r.spectrum_count, 2);
    assert_int_equal(r.spectra[1].y_unit, WP_Y_PERCENT);
    wp_reading_release(&r);
}

static void utf16_is_read_either_way_round(void **state)
{
    (void)state;
    static const char text[] = "cm-1\t%T\r\n400,5\t90,5\r\n401,5\t91\r\n402,5\t92\r\n";
    for (int kind = 0; kind < 4; kind++) {
        bool big = kind & 1;
        bool mark = kind & 2;
        unsigned char wide[256];
        size_t size = 0;
        if (mark) {
            wide[size++] = big ? 0xFE : 0xFF;
            wide[size++] = big ? 0xFF : 0xFE;
        }
        for (const char *c = text; *c; c++) {
            wide[size++] = big ? 0 : (unsigned char)*c;
            wide[size++] = big ? (unsigned char)*c : 0;
        }
        struct wp_reading r;
        assert_int_equal(wp_read(wide, size, NULL, &r), WP_OK);
        assert_true(r.spectra[0].y[0] == 90.5);
        assert_int_equal(r.spectra[0].count, 3);
        wp_reading_release(&r);
    }
}

static void abscissae_that_do_not_run_one_way_are_refused(void **state)
{
    (void)state;
    struct wp_reading r = read_bad("cm-1,A\n400,1\n300,1\n500,1\n200,1\n600,1\n", WP_INVALID);
    wp_reading_release(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(separators_and_decimal_signs_are_found),
        cmocka_unit_test(header_lines_become_labels),
        cmocka_unit_test(units_without_a_header_are_guessed_and_told),
        cmocka_unit_test(more_columns_are_more_spectra),
        cmocka_unit_test(missing_ordinates_stay_missing),
        cmocka_unit_test(what_follows_the_data_is_ignored_and_told),
        cmocka_unit_test(a_damaged_line_among_the_data_is_an_error),
        cmocka_unit_test(a_second_list_is_a_second_spectrum),
        cmocka_unit_test(utf16_is_read_either_way_round),
        cmocka_unit_test(abscissae_that_do_not_run_one_way_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
