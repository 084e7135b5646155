#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "made_curve.h"

static void near(double a, double b, double within)
{
    if (!(fabs(a - b) <= within))
        fail_msg("%.17g is not %.17g within %g", a, b, within);
}

/* Pairs of %T and absorbance: -log10, to four digits. */
static void percent_and_absorbance_agree_with_their_definition(void **state)
{
    (void)state;
    static const double pairs[][2] = {{95, 0.0223}, {90, 0.0458}, {50, 0.3010}, {20, 0.6990},
                                      {10, 1.0000}, {5, 1.3010},  {2, 1.6990},  {1, 2.0000}};
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        near(wp_y_to_absorbance(pairs[i][0], WP_Y_PERCENT), pairs[i][1], 5e-5);
        near(wp_y_to_absorbance(pairs[i][0] / 100, WP_Y_TRANSMITTANCE), pairs[i][1], 5e-5);
        near(wp_y_to_transmittance(pairs[i][1], WP_Y_ABSORBANCE), pairs[i][0] / 100, 1e-4);
    }
}

static void wavelengths_go_there_and_back_to_the_last_place(void **state)
{
    (void)state;
    uint64_t seed = 7;
    for (int i = 0; i < 10000; i++) {
        double x = 2000.0 + 250.0 * made_noise(&seed);
        near(wp_x_from_cm1(wp_x_to_cm1(x, WP_X_UM), WP_X_UM), x, x * 2.3e-16);
        near(wp_x_from_cm1(wp_x_to_cm1(x, WP_X_NM), WP_X_NM), x, x * 2.3e-16);
    }
    near(wp_x_to_cm1(2.5, WP_X_UM), 4000.0, 0.0);
    near(wp_x_to_cm1(25000.0, WP_X_NM), 400.0, 0.0);
    assert_true(isnan(wp_x_to_cm1(1.0, WP_X_OTHER)));
}

static void any_order_unit_and_gap_give_the_same_curve(void **state)
{
    (void)state;
    struct made_band band = {1700, 0.8, 20};
    struct wp_spectrum s;
    struct wp_curve straight;
    struct wp_curve turned;
    made_spectrum(&s, &band, 1, 90, 0.1, 3);
    assert_int_equal(wp_curve_make(&s, &straight, NULL), WP_OK);
    for (size_t i = 0; i < s.count / 2; i++) {
        size_t j = s.count - 1 - i;
        double x = s.x[i], y = s.y[i];
        s.x[i] = s.x[j], s.y[i] = s.y[j];
        s.x[j] = x, s.y[j] = y;
    }
    for (size_t i = 0; i < s.count; i++) {
        s.x[i] = 1e4 / s.x[i];
        s.y[i] = 2.0 - log10(s.y[i]);
    }
    s.y[5] = NAN;
    s.x_unit = WP_X_UM;
    s.y_unit = WP_Y_ABSORBANCE;
    assert_int_equal(wp_curve_make(&s, &turned, NULL), WP_OK);
    assert_int_equal(turned.count, straight.count - 1);
    for (size_t i = 0; i + 6 < turned.count; i++) {
        near(turned.x[i], straight.x[i], 1e-9);
        near(turned.t[i], straight.t[i], 1e-12);
        near(turned.a[i], straight.a[i], 1e-12);
    }
    assert_true(turned.from_absorbance && !straight.from_absorbance);
    near(straight.step, MADE_STEP, 1e-6);
    near(turned.step, MADE_STEP, 1e-6);
    wp_curve_release(&straight);
    wp_curve_release(&turned);
    wp_spectrum_release(&s);
}

static void unsorted_and_repeated_abscissae_are_put_in_order(void **state)
{
    (void)state;
    double x[40];
    double y[40];
    struct wp_spectrum s = {.x_unit = WP_X_CM1, .y_unit = WP_Y_TRANSMITTANCE, .count = 40};
    struct wp_curve curve;
    for (size_t i = 0; i < 40; i++) {
        x[i] = 1000.0 + (double)((i * 7) % 20);
        y[i] = 0.5 + x[i] * 1e-5;
    }
    s.x = x;
    s.y = y;
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    assert_int_equal(curve.count, 20);
    for (size_t i = 0; i < 20; i++)
        near(curve.t[i], 0.5 + (1000.0 + (double)i) * 1e-5, 1e-15);
    wp_curve_release(&curve);
}

static void opaque_points_are_clipped_in_absorbance_alone(void **state)
{
    (void)state;
    double x[20];
    double y[20];
    struct wp_spectrum s = {
        .x_unit = WP_X_CM1, .y_unit = WP_Y_PERCENT, .count = 20, .x = x, .y = y};
    struct wp_curve curve;
    for (size_t i = 0; i < 20; i++) {
        x[i] = 500.0 + (double)i;
        y[i] = i == 4 ? -0.3 : 80.0;
    }
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    near(curve.a[4], 4.0, 1e-15);
    near(curve.t[4], -0.003, 1e-15);
    wp_curve_release(&curve);
}

static void what_is_no_curve_is_refused_with_a_reason(void **state)
{
    (void)state;
    double x[20] = {0};
    double y[20] = {0};
    struct wp_error error = {0};
    struct wp_curve curve;
    struct wp_spectrum s = {.x_unit = WP_X_CM1, .y_unit = WP_Y_OTHER, .count = 20, .x = x, .y = y};
    assert_int_equal(wp_curve_make(&s, &curve, &error), WP_INVALID);
    assert_true(error.text[0] != '\0' && curve.count == 0);
    s.y_unit = WP_Y_PERCENT;
    assert_int_equal(wp_curve_make(&s, &curve, &error), WP_INVALID); /* one abscissa only */
    s.discrete = true;
    assert_int_equal(wp_curve_make(&s, &curve, &error), WP_INVALID);
    s.discrete = false;
    s.count = 0;
    assert_int_equal(wp_curve_make(&s, &curve, &error), WP_INVALID);
    wp_curve_release(&curve); /* harmless */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(percent_and_absorbance_agree_with_their_definition),
        cmocka_unit_test(wavelengths_go_there_and_back_to_the_last_place),
        cmocka_unit_test(any_order_unit_and_gap_give_the_same_curve),
        cmocka_unit_test(unsorted_and_repeated_abscissae_are_put_in_order),
        cmocka_unit_test(opaque_points_are_clipped_in_absorbance_alone),
        cmocka_unit_test(what_is_no_curve_is_refused_with_a_reason),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
