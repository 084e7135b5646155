/* Worked examples that were published with the format.
 *
 * Table VII: McDonald and Wilks, Appl. Spectrosc. 42 (1988) 151, table VII (b): one row of
 * ordinates in five forms. Table VI: the same paper, in the form without the misprints of 1988
 * (Baumbach et al., Pure Appl. Chem. 73 (2001) 1765). A copy with "l" for "1" and "O" for "0" is
 * still handed on.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "spectrum/read.h"

static enum wp_status read_table(const char *first, const char *last, int points, const char *table,
                                 struct wp_reading *reading)
{
    char text[4096];
    int size =
        snprintf(text, sizeof text,
                 "##TITLE=example\n##JCAMP-DX=4.24\n##DATA TYPE=INFRARED SPECTRUM\n"
                 "##XUNITS=1/CM\n##YUNITS=ABSORBANCE\n##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=%s\n"
                 "##LASTX=%s\n##NPOINTS=%d\n##XYDATA=(X++(Y..Y))\n%s\n##END=\n",
                 first, last, points, table);
    assert_in_range(size, 1, sizeof text - 1);
    return wp_read(text, (size_t)size, NULL, reading);
}

static void expect(const char *first, const char *last, const char *table, const double *values,
                   size_t count, size_t warnings)
{
    struct wp_reading reading;
    enum wp_status status = read_table(first, last, (int)count, table, &reading);
    if (status)
        fail_msg("%s: line %ld: %s", table, reading.error.line, reading.error.text);
    assert_int_equal(reading.spectrum_count, 1);
    assert_int_equal(reading.spectra[0].count, count);
    for (size_t i = 0; i < count; i++)
        if (reading.spectra[0].y[i] != values[i])
            fail_msg("%s: ordinate %zu is %g, not %g", table, i, reading.spectra[0].y[i],
                     values[i]);
    if (reading.warning_count != warnings)
        fail_msg("%s: %zu warnings, first: %s", table, reading.warning_count,
                 reading.warning_count ? reading.warnings[0].text : "");
    wp_reading_release(&reading);
}

static void table_vii_reads_alike_in_every_form(void **state)
{
    (void)state;
    static const double values[] = {1, 2, 3, 3, 2, 1, 0, -1, -2, -3};
    static const char *const forms[] = {
        "1 1 2 3 3 2 1 0 -1 -2 -3", "1+1+2+3+3+2+1+0-1-2-3", "1 1 2 3 3 2 1 0-1-2-3", "1ABCCBA@abc",
        "1AJJ%jjjjjj\n10c",         "1AJT%jX\n10c",          "1ABCTBA@abc",
    };
    for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++)
        expect("1", "10", forms[i], values, 10, 0);
}

static const double table_vi[] = {0,  0,  0,  0,  2,  4,  4,  4,   7,   5,   4,  4,  5,  5,
                                  7,  10, 11, 11, 6,  5,  7,  6,   9,   9,   7,  10, 10, 9,
                                  10, 11, 12, 15, 16, 16, 14, 17,  38,  38,  35, 38, 42, 47,
                                  54, 59, 66, 75, 78, 88, 96, 104, 110, 121, 128};

static void table_vi_reads_alike_plain_and_compressed(void **state)
{
    (void)state;
    expect("599.860", "700.158",
           "599.860 0 0 0 0 2 4 4 4 7 5 4 4 5 5 7 10 11 11 6 5 7 6 9 9 7\n"
           "648.081 10 10 9 10 11 12 15 16 16 14 17 38 38 35 38 42 47 54\n"
           "682.799  59  66  75  78  88  96 104 110 121 128",
           table_vi, 53, 0);
    expect("599.860", "700.158",
           "599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\n700.158A28", table_vi, 53,
           0);
}

/* Abscissae of the table: index 25 is 648.080, 43 is 682.799. */
static void table_vi_has_the_abscissae_its_lines_state(void **state)
{
    (void)state;
    struct wp_reading reading;
    assert_int_equal(read_table("599.860", "700.158", 53,
                                "599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\n"
                                "700.158A28",
                                &reading),
                     WP_OK);
    assert_true(fabs(reading.spectra[0].x[25] - 648.0802) < 5e-5);
    assert_true(fabs(reading.spectra[0].x[43] - 682.7987) < 5e-5);
    assert_true(reading.spectra[0].x[52] == 700.158);
    wp_reading_release(&reading);
}

static void the_misprinted_table_vi_is_refused(void **state)
{
    (void)state;
    static const char *const misprints[] = {
        "599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLKl%lLMNPNPRLJOQTOJ1P\n700.158A28",
        "599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLKl%lLMNPNPRLJ0QTOJ1P\n700.158A28",
        "599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJOQTOJ1P\n700.158A28",
    };
    for (size_t i = 0; i < 3; i++) {
        struct wp_reading reading;
        assert_int_equal(read_table("599.860", "700.158", 53, misprints[i], &reading), WP_INVALID);
        assert_int_equal(reading.spectrum_count, 0);
        assert_int_equal(reading.error.line, 13);
        assert_non_null(strstr(reading.error.text, "Y-check"));
        wp_reading_release(&reading);
    }
}

/* The test set of npm jcampconverter (MIT), first values of one spectrum in four forms; in SQZ
 * "E015" is 5015 and "e196" is -5196, not exponents. */
static void pseudo_digit_e_is_no_exponent(void **state)
{
    (void)state;
    static const double values[] = {-10247, 1201, -5196, 7245, -5777, 5015, -8583, -3100};
    static const char *const forms[] = {
        "16383.00000000        -10247          1201         -5196          7245\n"
        "16379 -5777 5015 -8583 -3100",
        "16383-10247+1201-5196+7245-5777+5015-8583-3100",
        "16383a0247A201e196G245e777E015h583c100",
        "16383a0247J1448o397J2441j3022J0792j3598N483\n16376c100",
    };
    for (size_t i = 0; i < 4; i++)
        expect("16383", "16376", forms[i], values, 8, 0);
}

/* Vectors of other open readers' tests: repeat counts of several digits, exponents, mixtures. */
static void mixtures_read_as_other_readers_read_them(void **state)
{
    (void)state;
    static const double dup[] = {50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50};
    expect("0", "11", "0 50S2", dup, 12, 0);
    static const double steps[] = {1000, 2000, 3000, 3001, 3001, 3001};
    expect("0", "5", "0 A000J000TJ%%\n5C001", steps, 6, 0);
    static const double squeezed[] = {1, 53, -5};
    expect("0", "2", "0 1 E3e", squeezed, 3, 0);
    static const double exponents[] = {150, -0.2};
    expect("0", "1", "0 1.5E+02 -2.0e-01", exponents, 2, 0);
    static const double after[] = {1, 5, 8111};
    expect("0", "2", "0 AM H111", after, 3, 0);
    static const double strict[] = {4.5, 523, 4.5, 52, 7.89e-14, 600};
    expect("1.23", "6.23", "1.23 4.5E23 4.5E2 7.89E-14 600", strict, 6, 0);
}

static void a_failed_y_check_is_an_error_with_its_line(void **state)
{
    (void)state;
    struct wp_reading reading;
    assert_int_equal(read_table("599", "602", 4, "599.000+1jj\n600.000+4jj", &reading), WP_INVALID);
    assert_int_equal(reading.error.line, 13);
    wp_reading_release(&reading);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(table_vii_reads_alike_in_every_form),
        cmocka_unit_test(table_vi_reads_alike_plain_and_compressed),
        cmocka_unit_test(table_vi_has_the_abscissae_its_lines_state),
        cmocka_unit_test(the_misprinted_table_vi_is_refused),
        cmocka_unit_test(pseudo_digit_e_is_no_exponent),
        cmocka_unit_test(mixtures_read_as_other_readers_read_them),
        cmocka_unit_test(a_failed_y_check_is_an_error_with_its_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
