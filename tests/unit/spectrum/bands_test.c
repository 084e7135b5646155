#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "made_curve.h"
#include "peaks.h"
#include "spectrum/bands.h"

static void near(double a, double b, double within)
{
    if (!(fabs(a - b) <= within))
        fail_msg("%.17g is not %.17g within %g", a, b, within);
}

/* The definition of prominence as scipy documents it, worked by hand. */
static void prominence_is_the_height_above_the_higher_valley(void **state)
{
    (void)state;
    const double y[] = {0, 1, 0.5, 2, 0, 3, 1, 1.5, 0};
    const double expected[] = {0, 0.5, 0, 2, 0, 3, 0, 0.5, 0};
    struct wp_peak peaks[8];
    struct wp_top tops[8];
    assert_int_equal(wp_peaks_find(y, 9, 0.0, peaks, tops), 4);
    for (size_t i = 0; i < 4; i++)
        near(peaks[i].prominence, expected[peaks[i].first], 0.0);
    assert_int_equal(wp_peaks_find(y, 9, 1.0, peaks, tops), 2);
    assert_int_equal(wp_peaks_find(y, 2, 0.0, peaks, tops), 0);
    assert_int_equal(wp_peaks_find(y, 0, 0.0, peaks, tops), 0);
}

static size_t find(const struct made_band *made, size_t count, double baseline, double noise,
                   struct wp_band bands[WP_BANDS_MOST])
{
    struct wp_curve curve;
    enum wp_status status;
    made_curve(&curve, made, count, baseline, noise, 5);
    size_t found = wp_bands_find(&curve, NULL, bands, &status);
    assert_int_equal(status, WP_OK);
    wp_curve_release(&curve);
    return found;
}

static void bands_come_with_place_width_strength_and_shape(void **state)
{
    (void)state;
    const struct made_band made[] = {
        {3340, 0.7, 260}, {2251.3, 0.15, 12}, {1718.6, 1.1, 18}, {1241.2, 0.25, 26}};
    struct wp_band bands[WP_BANDS_MOST];
    assert_int_equal(find(made, 4, 90, 0.03, bands), 4);
    const double within[] = {6, 0.3, 0.1, 0.3};
    for (size_t i = 0; i < 4; i++) {
        near(bands[i].position, made[i].position, within[i]);
        near(bands[i].width, made[i].width, 0.1 * made[i].width);
        assert_false(bands[i].air || bands[i].saturated);
    }
    assert_string_equal(wp_strength_text(bands[0].strength), "s");
    assert_string_equal(wp_strength_text(bands[1].strength), "w");
    assert_string_equal(wp_strength_text(bands[2].strength), "s");
    assert_string_equal(wp_strength_text(bands[3].strength), "m");
    assert_string_equal(wp_shape_text(bands[0].shape), "broad");
    assert_string_equal(wp_shape_text(bands[2].shape), "sharp");
}

/* Largest error of the parabola at this spacing for bands of 8 cm-1 and more: below 0.1 cm-1. */
static void positions_are_finer_than_the_points(void **state)
{
    (void)state;
    for (int i = 0; i < 40; i++) {
        struct made_band made = {1600.0 + 0.0713 * i, 0.6, 10.0};
        struct wp_band bands[WP_BANDS_MOST];
        assert_int_equal(find(&made, 1, 95, 0.0, bands), 1);
        near(bands[0].position, made.position, 0.06);
    }
}

static void a_flat_bottom_is_one_band_at_its_middle(void **state)
{
    (void)state;
    struct made_band made = {1735.0, 9.0, 30.0};
    struct wp_band bands[WP_BANDS_MOST];
    for (int i = 0; i < 20; i++) {
        struct wp_curve curve;
        made_curve(&curve, &made, 1, 90, 0.15, (uint64_t)i + 1);
        assert_int_equal(wp_bands_find(&curve, NULL, bands, NULL), 1);
        assert_true(bands[0].saturated);
        near(bands[0].position, 1735.0, 2.0);
        wp_curve_release(&curve);
    }
}

static void pure_noise_has_no_bands(void **state)
{
    (void)state;
    size_t false_bands = 0;
    for (uint64_t seed = 1; seed <= 200; seed++) {
        struct wp_curve curve;
        struct wp_band bands[WP_BANDS_MOST];
        made_curve(&curve, NULL, 0, 90, 0.5, seed);
        false_bands += wp_bands_find(&curve, NULL, bands, NULL);
        wp_curve_release(&curve);
    }
    assert_true(false_bands <= 4);
}

static void a_sloping_baseline_changes_nothing(void **state)
{
    (void)state;
    /* The far wing of a very broad band far outside the range is a slope. */
    const struct made_band made[] = {
        {5200, 1.2, 2600}, {1690, 0.6, 22}, {1320, 0.5, 16}, {760, 0.4, 12}};
    struct wp_band bands[WP_BANDS_MOST];
    assert_int_equal(find(made, 4, 92, 0.03, bands), 3);
    for (size_t i = 0; i < 3; i++)
        near(bands[i].position, made[i + 1].position, 0.4);
}

static void both_forms_of_one_measurement_have_the_same_bands(void **state)
{
    (void)state;
    const struct made_band made[] = {{3340, 0.7, 260}, {2960, 5, 40},   {1718, 1.9, 18},
                                     {1241, 0.25, 26}, {1050, 2.6, 30}, {720, 0.06, 9}};
    struct wp_spectrum s;
    struct wp_curve curve;
    struct wp_band of_t[WP_BANDS_MOST];
    struct wp_band of_a[WP_BANDS_MOST];
    made_spectrum(&s, made, 6, 90, 0.05, 11);
    for (size_t i = 0; i < s.count; i++)
        s.y[i] = rint(s.y[i] * 1e3) / 1e3;
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    size_t count = wp_bands_find(&curve, NULL, of_t, NULL);
    wp_curve_release(&curve);
    for (size_t i = 0; i < s.count; i++)
        s.y[i] = s.y[i] > 0.01 ? rint((2.0 - log10(s.y[i])) * 1e5) / 1e5 : 4.0;
    s.y_unit = WP_Y_ABSORBANCE;
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    assert_int_equal(wp_bands_find(&curve, NULL, of_a, NULL), count);
    assert_int_equal(count, 6);
    for (size_t i = 0; i < count; i++) {
        near(of_a[i].position, of_t[i].position, 0.05);
        near(of_a[i].prominence, of_t[i].prominence, 0.002);
        assert_int_equal(of_a[i].strength, of_t[i].strength);
        assert_int_equal(of_a[i].saturated, of_t[i].saturated);
    }
    wp_curve_release(&curve);
    wp_spectrum_release(&s);
}

static void room_air_is_marked_as_such(void **state)
{
    (void)state;
    const struct made_band made[] = {{2361, 0.12, 20}, {2338, 0.1, 20}, {1718, 0.9, 18}};
    struct wp_band bands[WP_BANDS_MOST];
    size_t count = find(made, 3, 90, 0.02, bands);
    assert_true(count >= 2);
    for (size_t i = 0; i < count; i++)
        assert_int_equal(bands[i].air, bands[i].position > 2300);
}

static void options_limit_what_is_found(void **state)
{
    (void)state;
    const struct made_band made[] = {
        {2960, 0.5, 20}, {1718, 0.9, 18}, {1241, 0.3, 26}, {560, 0.8, 20}};
    struct wp_band bands[WP_BANDS_MOST];
    struct wp_curve curve;
    made_curve(&curve, made, 4, 90, 0.02, 5);
    struct wp_band_options cut = {.cut_off = 650};
    assert_int_equal(wp_bands_find(&curve, &cut, bands, NULL), 3);
    struct wp_band_options two = {.most = 2};
    assert_int_equal(wp_bands_find(&curve, &two, bands, NULL), 2);
    near(bands[0].position, 1718, 1);
    near(bands[1].position, 560, 1);
    struct wp_band_options high = {.least_prominence = 0.6};
    assert_int_equal(wp_bands_find(&curve, &high, bands, NULL), 2);
    wp_curve_release(&curve);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(prominence_is_the_height_above_the_higher_valley),
        cmocka_unit_test(bands_come_with_place_width_strength_and_shape),
        cmocka_unit_test(positions_are_finer_than_the_points),
        cmocka_unit_test(a_flat_bottom_is_one_band_at_its_middle),
        cmocka_unit_test(pure_noise_has_no_bands),
        cmocka_unit_test(a_sloping_baseline_changes_nothing),
        cmocka_unit_test(both_forms_of_one_measurement_have_the_same_bands),
        cmocka_unit_test(room_air_is_marked_as_such),
        cmocka_unit_test(options_limit_what_is_found),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
