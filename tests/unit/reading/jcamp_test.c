/* What a regular JCAMP-DX file says is what the spectrum holds. */
#include "reading_fixture.h"

#define RANGE "##FIRSTX=4000\n##LASTX=3996\n##NPOINTS=5\n"
#define TABLE "##XYDATA=(X++(Y..Y))\n4000 900 800 700\n3997 600 500"

static void labels_are_kept_and_normalised(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(block(
        RANGE "##Data_Processing=smoothed $$ twice\n##CAS REGISTRY NO= 64-17-5 \n##.AVERAGES=16\n"
              "##RESOLUTION=4\n##$OUR LABEL=x\n##=comment\n",
        TABLE));
    const struct wp_spectrum *s = &r.spectra[0];
    assert_int_equal(r.warning_count, 0);
    assert_string_equal(s->title, "Film A");
    assert_string_equal(wp_spectrum_label(s, "DATAPROCESSING"), "smoothed");
    assert_string_equal(wp_spectrum_label(s, "CASREGISTRYNO"), "64-17-5");
    assert_string_equal(wp_spectrum_label(s, "$OURLABEL"), "x");
    assert_null(wp_spectrum_label(s, "NOTTHERE"));
    assert_true(s->processed);
    assert_int_equal(s->scans, 16);
    assert_true(s->resolution == 4.0);
    assert_int_equal(s->technique, WP_INFRARED);
    assert_int_equal(s->x_unit, WP_X_CM1);
    assert_int_equal(s->y_unit, WP_Y_TRANSMITTANCE);
    assert_true(s->even && !s->discrete);
    assert_int_equal(s->line, 1);
    assert_string_equal(r.dialect, "JCAMP-DX 4.24, AFFN");
    wp_reading_release(&r);
}

static void values_are_products_in_double_precision(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(block(RANGE, TABLE));
    static const double y[] = {900 * 0.001, 800 * 0.001, 700 * 0.001, 600 * 0.001, 500 * 0.001};
    expect_y(&r, 0, 5, y);
    for (size_t k = 0; k < 5; k++)
        assert_true(r.spectra[0].x[k] == 4000.0 + (double)k * (3996.0 - 4000.0) / 4.0);
    wp_reading_release(&r);
}

static void labels_after_the_table_count_as_well(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("##TITLE=late\n##JCAMP-DX=5.01\n##DATA TYPE=RAMAN SPECTRUM\n"
                                  "##XYDATA=(X++(Y..Y))\n1 10 20 30\n##XFACTOR=1\n##YFACTOR=0.5\n"
                                  "##FIRSTX=1\n##LASTX=3\n##NPOINTS=3\n##XUNITS=1/CM\n"
                                  "##YUNITS=ARBITRARY UNITS\n##END=\n");
    static const double y[] = {5, 10, 15};
    expect_y(&r, 0, 3, y);
    assert_int_equal(r.warning_count, 0);
    assert_int_equal(r.spectra[0].technique, WP_RAMAN);
    wp_reading_release(&r);
}

static void line_ends_of_every_kind_give_the_same(void **state)
{
    (void)state;
    static const char *const ends[] = {"\n", "\r\n", "\r"};
    static const double y[] = {0.9, 0.8, 0.7, 0.6, 0.5};
    for (size_t i = 0; i < 3; i++) {
        char text[4096] = "";
        char plain[4096];
        (void)snprintf(plain, sizeof plain, "%s", block(RANGE, TABLE));
        char *rest = plain;
        for (char *line = strsep(&rest, "\n"); line; line = strsep(&rest, "\n")) {
            (void)strcat(text, line);
            (void)strcat(text, ends[i]);
        }
        struct wp_reading r = read_ok(text);
        assert_int_equal(r.warning_count, 0);
        assert_int_equal(r.spectra[0].count, 5);
        for (size_t k = 0; k < 5; k++)
            assert_true(fabs(r.spectra[0].y[k] - y[k]) < 1e-15);
        wp_reading_release(&r);
    }
}

static void missing_ordinates_stay_missing(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(block(RANGE, "##XYDATA=(X++(Y..Y))\n4000A?C\n3997?E"));
    const double y[] = {0.001, NAN, 0.003, NAN, 0.005};
    expect_y(&r, 0, 5, y);
    assert_int_equal(r.warning_count, 0);
    wp_reading_release(&r);
}

static void every_inner_block_of_a_link_is_a_spectrum(void **state)
{
    (void)state;
    char text[8192];
    char one[2048];
    (void)snprintf(one, sizeof one, "%s", block(RANGE, TABLE));
    (void)snprintf(text, sizeof text,
                   "##TITLE=three\n##DATA TYPE= LINK\n##BLOCKS = 3\n%s##TITLE=inner\n"
                   "##DATA TYPE=LINK\n##BLOCKS=1\n%s##END=\n%s##END=\n",
                   one, one, one);
    struct wp_reading r = read_ok(text);
    assert_int_equal(r.spectrum_count, 3);
    assert_int_equal(r.warning_count, 0);
    assert_int_equal(r.spectra[2].block, 3);
    assert_int_equal(r.spectra[0].line, 4);
    wp_reading_release(&r);
}

static void peaks_are_discrete_points(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(block("##NPOINTS=2\n", "##PEAK TABLE=(XYW..XYW)\n"
                                                         "1700.5, 300, 12; 2900, 500, 20"));
    assert_int_equal(r.spectrum_count, 1);
    assert_true(r.spectra[0].discrete);
    assert_true(r.spectra[0].x[1] == 2900.0 && r.spectra[0].y[1] == 0.5);
    wp_reading_release(&r);
    r = read_ok(block("##NPOINTS=2\n", "##PEAK ASSIGNMENTS=(XYA)\n(1700.5, 300, <C=O (ester), 1>)\n"
                                       "(2900,500,<C-H>)"));
    assert_int_equal(r.spectra[0].count, 2);
    assert_true(r.spectra[0].x[0] == 1700.5);
    wp_reading_release(&r);
}

static void of_ntuples_the_real_page_is_read(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(
        "##TITLE=pages\n##JCAMP-DX=5.01\n##DATA TYPE=INFRARED SPECTRUM\n##NTUPLES=IR\n"
        "##VAR_NAME=WAVENUMBER, SPECTRUM/REAL, SPECTRUM/IMAG, PAGE NUMBER\n##SYMBOL=X, R, I, N\n"
        "##VAR_TYPE=INDEPENDENT, DEPENDENT, DEPENDENT, PAGE\n##VAR_FORM=AFFN, ASDF, ASDF, AFFN\n"
        "##VAR_DIM=4, 4, 4, 2\n##UNITS=1/CM, ABSORBANCE, ABSORBANCE,\n"
        "##FIRST=400, 1, 1, 1\n##LAST=403, 4, 4, 2\n##FACTOR=1, 0.5, 0.25, 1\n##PAGE=N=1\n"
        "##DATA TABLE=(X++(R..R)), XYDATA $$ real\n400AJJJ\n403D\n##PAGE=N=2\n"
        "##DATA TABLE=(X++(I..I)), XYDATA\n400A%U\n403A\n##END NTUPLES=IR\n##END=\n");
    static const double y[] = {0.5, 1, 1.5, 2};
    assert_int_equal(r.spectrum_count, 1);
    expect_y(&r, 0, 4, y);
    assert_int_equal(r.spectra[0].y_unit, WP_Y_ABSORBANCE);
    assert_true(r.spectra[0].x[3] == 403.0);
    wp_reading_release(&r);
}

static void decimal_points_inside_pseudo_digits_add_exactly(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(
        block("##FIRSTX=1\n##LASTX=4\n##NPOINTS=4\n", "##XYDATA=(X++(Y..Y))\n1A.5%.1J.25j\n4A.85"));
    const double y[] = {1.5 * 0.001, 1.6 * 0.001, 2.85 * 0.001, 1.85 * 0.001};
    expect_y(&r, 0, 4, y);
    wp_reading_release(&r);
}

static void units_convert_their_words(void **state)
{
    (void)state;
    static const struct {
        const char *x;
        const char *y;
        enum wp_x_unit x_unit;
        enum wp_y_unit y_unit;
    } cases[] = {
        {"MICROMETERS", "ABSORBANCE", WP_X_UM, WP_Y_ABSORBANCE},
        {"NANOMETERS", "KUBELKA-MUNK", WP_X_NM, WP_Y_OTHER},
        {"cm-1", "%T", WP_X_CM1, WP_Y_PERCENT},
        {"l/CM", "Percent Transmittance", WP_X_CM1, WP_Y_PERCENT},
        {"1/cm", "% Transmission", WP_X_CM1, WP_Y_PERCENT},
        {"Wavenumber (cm\xE2\x81\xBB\xC2\xB9)", "Abs", WP_X_CM1, WP_Y_ABSORBANCE},
        {"\xC2\xB5m", "ABSORBANCE UNITS", WP_X_UM, WP_Y_ABSORBANCE},
        {"SECONDS", "(micromol/mol)-1m-1 (base 10)", WP_X_OTHER, WP_Y_OTHER},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[2048];
        (void)snprintf(text, sizeof text,
                       "##TITLE=\n##JCAMP-DX=4.24\n##DATA TYPE=INFRARED SPECTRUM\n##XUNITS=%s\n"
                       "##YUNITS=%s\n##XFACTOR=1\n##YFACTOR=1\n" RANGE TABLE "\n##END=\n",
                       cases[i].x, cases[i].y);
        struct wp_reading r = read_ok(text);
        assert_int_equal(r.spectra[0].x_unit, cases[i].x_unit);
        assert_int_equal(r.spectra[0].y_unit, cases[i].y_unit);
        wp_reading_release(&r);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(labels_are_kept_and_normalised),
        cmocka_unit_test(values_are_products_in_double_precision),
        cmocka_unit_test(labels_after_the_table_count_as_well),
        cmocka_unit_test(line_ends_of_every_kind_give_the_same),
        cmocka_unit_test(missing_ordinates_stay_missing),
        cmocka_unit_test(every_inner_block_of_a_link_is_a_spectrum),
        cmocka_unit_test(peaks_are_discrete_points),
        cmocka_unit_test(of_ntuples_the_real_page_is_read),
        cmocka_unit_test(decimal_points_inside_pseudo_digits_add_exactly),
        cmocka_unit_test(units_convert_their_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
