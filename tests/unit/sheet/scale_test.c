/* Axes: which way they run, what they cover, where their ticks stand. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#include "fixture.h"
#include "scale.h"

static struct wp_spectrum technique(enum wp_technique what, enum wp_x_unit x, enum wp_y_unit y)
{
    return (struct wp_spectrum){.technique = what, .x_unit = x, .y_unit = y};
}

static struct sheet_x axis(const struct wp_spectrum *spectrum, double low, double high,
                           bool compress)
{
    struct sheet_x x = {.left = 100, .right = 820};
    sheet_x_choose(&x, spectrum, low, high, compress);
    return x;
}

static void wavenumbers_fall_to_the_right_from_4000_to_400(void **state)
{
    (void)state;
    struct wp_spectrum ir = technique(WP_INFRARED, WP_X_CM1, WP_Y_PERCENT);
    struct sheet_x x = axis(&ir, 399.2, 4000.6, false);
    assert_true(x.first == 4000 && x.last == 400);
    assert_true(fabs(sheet_x_at(&x, 4000) - 100) < 1e-9);
    assert_true(fabs(sheet_x_at(&x, 400) - 820) < 1e-9);
    assert_true(fabs(sheet_x_at(&x, 2200) - 460) < 1e-9);
}

static void another_range_is_shown_whole(void **state)
{
    (void)state;
    struct wp_spectrum ir = technique(WP_INFRARED, WP_X_CM1, WP_Y_PERCENT);
    struct sheet_x x = axis(&ir, 649.3, 5003, false);
    assert_true(x.first >= 5003 && x.last <= 649.3);
    assert_true(x.first <= 5060 && x.last >= 590);
}

static void micrometres_become_wavenumbers_in_the_infrared(void **state)
{
    (void)state;
    struct wp_spectrum ir = technique(WP_INFRARED, WP_X_UM, WP_Y_PERCENT);
    assert_true(fabs(sheet_abscissa(&ir, true, 10) - 1000) < 1e-9);
    assert_true(isnan(sheet_abscissa(&ir, true, 0)));
}

static void wavelengths_and_shifts_rise_to_the_right(void **state)
{
    (void)state;
    struct wp_spectrum uv = technique(WP_UV_VIS, WP_X_NM, WP_Y_ABSORBANCE);
    struct wp_spectrum raman = technique(WP_RAMAN, WP_X_CM1, WP_Y_OTHER);
    struct sheet_x x = axis(&uv, 220, 600, true);
    assert_true(x.first < x.last && isnan(x.bend));
    x = axis(&raman, 200, 3200, true);
    assert_true(x.first < x.last && isnan(x.bend));
}

static void above_2000_the_compressed_scale_is_half(void **state)
{
    (void)state;
    struct wp_spectrum ir = technique(WP_INFRARED, WP_X_CM1, WP_Y_PERCENT);
    struct sheet_x x = axis(&ir, 400, 4000, true);
    double upper = sheet_x_at(&x, 2000) - sheet_x_at(&x, 2100);
    double lower = sheet_x_at(&x, 1900) - sheet_x_at(&x, 2000);
    assert_true(fabs(lower - 2 * upper) < 1e-9);
    for (int v = 400; v <= 4000; v += 37)
        assert_true(fabs(sheet_x_value(&x, sheet_x_at(&x, v)) - v) < 1e-9);
    struct sheet_x low = axis(&ir, 400, 1800, true);
    assert_true(isnan(low.bend));
}

static void check_ticks(const struct sheet_tick *ticks, size_t count, double pitch, double low,
                        double high)
{
    double last = -INFINITY;
    size_t labelled = 0;
    for (size_t i = 0; i < count; i++) {
        assert_true(ticks[i].at >= low - 1e-6 && ticks[i].at <= high + 1e-6);
        if (!ticks[i].major)
            continue;
        labelled++;
        assert_true(ticks[i].text[0] != '\0');
        assert_true(!isfinite(last) || fabs(ticks[i].at - last) >= pitch - 1e-6);
        last = ticks[i].at;
    }
    assert_true(labelled >= 2);
}

static void ticks_have_room_for_their_labels(void **state)
{
    (void)state;
    struct wp_spectrum ir = technique(WP_INFRARED, WP_X_CM1, WP_Y_PERCENT);
    struct sheet_tick ticks[SHEET_TICKS_MOST];
    struct fixture_random random = {3};
    for (int i = 0; i < 500; i++) {
        double low = fixture_uniform(&random, 100, 1900);
        struct sheet_x x = axis(&ir, low, low + fixture_uniform(&random, 200, 6000), i % 2);
        if (isnan(x.bend))
            check_ticks(ticks, sheet_x_ticks(&x, 32, ticks), 32, 100, 820);
    }
    struct sheet_x bent = axis(&ir, 400, 4000, true);
    check_ticks(ticks, sheet_x_ticks(&bent, 32, ticks), 32, 100, 820);
}

static void ordinates_have_ticks_at_any_size(void **state)
{
    (void)state;
    struct sheet_tick ticks[SHEET_TICKS_MOST];
    for (int power = -9; power <= 12; power++) {
        struct sheet_y y = {.ordinate = SHEET_AS_FILE, .top = 100, .bottom = 400};
        sheet_y_choose(&y, 0, 3.7 * pow(10, power));
        check_ticks(ticks, sheet_y_ticks(&y, 20, ticks), 20, 100, 400);
        for (size_t i = 0; i < SHEET_TICKS_MOST && ticks[i].text[0]; i++)
            assert_true(strlen(ticks[i].text) <= 8);
    }
}

static void transmittance_shows_zero_to_hundred_and_more_only_if_needed(void **state)
{
    (void)state;
    struct sheet_y y = {.ordinate = SHEET_PERCENT, .top = 100, .bottom = 400};
    sheet_y_choose(&y, 12, 94);
    assert_true(y.down && y.low == 0 && y.high >= 100 && y.high < 105);
    sheet_y_choose(&y, 12, 108);
    assert_true(y.high >= 108);
    assert_true(fabs(sheet_y_at(&y, y.high) - 100) < 1e-9);
    assert_true(fabs(sheet_y_at(&y, 0) - 400) < 1e-9);
}

static void absorbance_stops_where_detectors_do(void **state)
{
    (void)state;
    struct wp_spectrum ir = technique(WP_INFRARED, WP_X_CM1, WP_Y_PERCENT);
    assert_true(fabs(sheet_value(&ir, SHEET_ABSORB, 10) - 1) < 1e-12);
    assert_true(sheet_value(&ir, SHEET_ABSORB, -3) == 4);
    assert_true(isnan(sheet_value(&ir, SHEET_ABSORB, NAN)));
    struct sheet_y y = {.ordinate = SHEET_ABSORB, .top = 100, .bottom = 400};
    sheet_y_choose(&y, -0.02, 4);
    assert_true(!y.down && y.high <= 4.4 && y.low < 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wavenumbers_fall_to_the_right_from_4000_to_400),
        cmocka_unit_test(another_range_is_shown_whole),
        cmocka_unit_test(micrometres_become_wavenumbers_in_the_infrared),
        cmocka_unit_test(wavelengths_and_shifts_rise_to_the_right),
        cmocka_unit_test(above_2000_the_compressed_scale_is_half),
        cmocka_unit_test(ticks_have_room_for_their_labels),
        cmocka_unit_test(ordinates_have_ticks_at_any_size),
        cmocka_unit_test(transmittance_shows_zero_to_hundred_and_more_only_if_needed),
        cmocka_unit_test(absorbance_stops_where_detectors_do),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
