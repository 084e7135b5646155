#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "made_curve.h"
#include "spectrum/likeness.h"

static const struct made_band bands[] = {
    {2960, 0.6, 40}, {1718, 0.9, 18}, {1241, 0.3, 26}, {1050, 0.5, 30}, {720, 0.06, 9}};
#define BANDS (sizeof bands / sizeof bands[0])

static void print_of(const struct wp_spectrum *s, struct wp_print *print)
{
    struct wp_curve curve;
    assert_int_equal(wp_curve_make(s, &curve, NULL), WP_OK);
    assert_int_equal(wp_print_make(&curve, print), WP_OK);
    wp_curve_release(&curve);
}

static void measure(double noise, uint64_t seed, struct wp_print *print)
{
    struct wp_spectrum s;
    made_spectrum(&s, bands, BANDS, 90, noise, seed);
    print_of(&s, print);
    wp_spectrum_release(&s);
}

static void a_print_is_like_itself_and_stays_the_same(void **state)
{
    (void)state;
    struct wp_print a;
    struct wp_print b;
    measure(0.05, 1, &a);
    measure(0.05, 1, &b);
    assert_memory_equal(&a, &b, sizeof a);
    assert_int_equal(wp_print_compare(&a, &b), WP_ALIKE);
}

static void another_form_of_a_measurement_is_alike(void **state)
{
    (void)state;
    struct wp_spectrum s;
    struct wp_print a;
    struct wp_print b;
    made_spectrum(&s, bands, BANDS, 90, 0.05, 1);
    print_of(&s, &a);
    for (size_t i = 0; i < s.count; i++) {
        s.x[i] = rint(1e10 / s.x[i]) / 1e6; /* um, 6 decimals: falling as the wavenumber rises */
        s.y[i] = rint((2.0 - log10(s.y[i])) * 1e4) / 1e4;
    }
    s.x_unit = WP_X_UM;
    s.y_unit = WP_Y_ABSORBANCE;
    print_of(&s, &b);
    assert_int_equal(wp_print_compare(&a, &b), WP_ALIKE);
    assert_int_equal(wp_print_compare(&b, &a), WP_ALIKE);
    wp_spectrum_release(&s);
}

static void the_same_sample_measured_again_is_another_measurement(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed < 100; seed++) {
        struct wp_print a;
        struct wp_print b;
        measure(0.05, seed, &a);
        measure(0.05, seed + 1000, &b);
        assert_int_not_equal(wp_print_compare(&a, &b), WP_ALIKE);
        measure(0.002, seed, &a);
        measure(0.002, seed + 1000, &b);
        assert_int_not_equal(wp_print_compare(&a, &b), WP_ALIKE);
    }
}

static void digits_coarser_than_the_noise_cannot_tell(void **state)
{
    (void)state;
    struct wp_spectrum s;
    struct wp_print a;
    struct wp_print b;
    made_spectrum(&s, bands, BANDS, 90, 0.02, 1);
    print_of(&s, &a);
    for (size_t i = 0; i < s.count; i++)
        s.y[i] = rint(s.y[i] * 2) / 2; /* half a %T */
    print_of(&s, &b);
    assert_int_equal(wp_print_compare(&a, &b), WP_CANNOT_TELL);
    wp_spectrum_release(&s);
}

static void a_short_curve_has_no_print(void **state)
{
    (void)state;
    struct wp_spectrum s;
    struct wp_curve curve;
    struct wp_print a;
    struct wp_print b;
    measure(0.05, 1, &a);
    made_spectrum(&s, bands, BANDS, 90, 0.05, 1);
    s.count = 400;
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    assert_int_equal(wp_print_make(&curve, &b), WP_INVALID);
    assert_int_equal(wp_print_compare(&a, &b), WP_CANNOT_TELL);
    assert_int_equal(wp_print_compare(&b, &b), WP_CANNOT_TELL);
    wp_curve_release(&curve);
    wp_spectrum_release(&s);
}

/* A print comes from a database and may be damaged. */
static void damaged_prints_are_compared_without_harm(void **state)
{
    (void)state;
    struct wp_print good;
    uint64_t seed = 9;
    measure(0.05, 1, &good);
    for (int round = 0; round < 20000; round++) {
        struct wp_print bad = good;
        for (int i = 0; i < 4; i++) {
            seed = seed * 6364136223846793005u + 1442695040888963407u;
            bad.bytes[4 + (seed >> 40) % 200] = (unsigned char)(seed >> 20);
        }
        enum wp_likeness likeness = wp_print_compare(&good, &bad);
        assert_true(likeness == WP_DIFFERENT || likeness == WP_ALIKE || likeness == WP_CANNOT_TELL);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_print_is_like_itself_and_stays_the_same),
        cmocka_unit_test(another_form_of_a_measurement_is_alike),
        cmocka_unit_test(the_same_sample_measured_again_is_another_measurement),
        cmocka_unit_test(digits_coarser_than_the_noise_cannot_tell),
        cmocka_unit_test(a_short_curve_has_no_print),
        cmocka_unit_test(damaged_prints_are_compared_without_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
