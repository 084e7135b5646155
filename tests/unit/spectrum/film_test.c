#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "made_curve.h"
#include "spectrum/film.h"

/* Polystyrene film, about 38 um. Positions: certified band minima of NIST SRM 1921b. Heights and
 * widths are made up to look like such a film; the pharmacopoeia's depth limits are met by design.
 */
static const struct made_band film[] = {
    {539.41, 0.5, 20},  {698.0, 1.8, 10},    {756.5, 1.3, 12},    {841.79, 0.1, 12},
    {906.63, 0.25, 12}, {1028.27, 0.4, 10},  {1069.22, 0.25, 12}, {1154.50, 0.15, 10},
    {1452.5, 1.1, 12},  {1492.9, 1.3, 8},    {1582.98, 0.18, 6},  {1601.29, 0.6, 7},
    {1942.97, 0.2, 20}, {2849.48, 0.55, 18}, {2923.0, 1.3, 30},   {3001.20, 0.3, 8},
    {3025.99, 1.1, 13}, {3060.16, 0.55, 11}, {3082.26, 0.35, 11}};
#define FILM (sizeof film / sizeof film[0])

static void check(const struct made_band *bands, size_t count, double noise, uint64_t seed,
                  struct wp_film_check *out)
{
    struct wp_curve curve;
    made_curve(&curve, bands, count, 92, noise, seed);
    assert_int_equal(wp_film_check(&curve, out), WP_OK);
    wp_curve_release(&curve);
}

static void a_good_film_passes(void **state)
{
    (void)state;
    struct wp_film_check result;
    check(film, FILM, 0.03, 1, &result);
    assert_true(result.is_film);
    assert_int_equal(result.band_count, 7);
    for (size_t i = 0; i < result.band_count; i++)
        if (!result.bands[i].within)
            fail_msg("%.1f found at %.2f", result.bands[i].expected, result.bands[i].found);
    assert_true(fabs(result.mean_shift) < 0.3);
    assert_true(result.resolution_ok && result.passed);
    assert_true(result.noise > 0.02 && result.noise < 0.04);
}

/* The tolerances of JP 14 Supplement 1 and Ph. Eur. 4.0 let every certified band minimum of NIST
 * SRM 1921b pass: an instrument that reads the certified values must not be faulted. */
static void the_certified_minima_lie_within_the_pharmacopoeia(void **state)
{
    (void)state;
    static const double certified[] = {3060.16, 2849.48, 1942.97, 1601.29,
                                       1582.98, 1154.50, 1028.27};
    struct wp_film_check result;
    check(film, FILM, 0.0, 1, &result);
    for (size_t i = 0; i < 7; i++) {
        assert_true(fabs(result.bands[i].expected - certified[i]) <= result.bands[i].tolerance);
        assert_true(fabs(result.bands[i].found - certified[i]) < 0.3);
    }
}

static void a_shifted_axis_fails_and_the_shift_is_told(void **state)
{
    (void)state;
    struct made_band moved[FILM];
    struct wp_film_check result;
    for (size_t i = 0; i < FILM; i++)
        moved[i] = (struct made_band){film[i].position + 2.0, film[i].height, film[i].width};
    check(moved, FILM, 0.03, 1, &result);
    assert_true(result.is_film && !result.passed);
    assert_true(fabs(result.mean_shift - 2.0) < 0.3);
}

static void poor_resolution_fails(void **state)
{
    (void)state;
    struct made_band wide[FILM];
    struct wp_film_check result;
    for (size_t i = 0; i < FILM; i++)
        wide[i] = (struct made_band){film[i].position, film[i].height * 0.6, film[i].width + 10};
    check(wide, FILM, 0.03, 1, &result);
    assert_false(result.resolution_ok);
    assert_false(result.passed);
}

/* Toluene, its nearest neighbour among liquids: maxima of Myers et al., Appl. Spectrosc. 72 (2018)
 * 535. */
static void another_aromatic_is_no_film(void **state)
{
    (void)state;
    static const double toluene[] = {3086.5, 3062.3, 3027.0, 2920.0, 2872.3, 1942.2, 1857.7, 1604.6,
                                     1495.6, 1460.1, 1379.1, 1178.6, 1081.4, 1030.1, 728.7,  694.5};
    struct made_band bands[16];
    struct wp_film_check result;
    for (size_t i = 0; i < 16; i++)
        bands[i] = (struct made_band){toluene[i], 0.3, 10};
    check(bands, 16, 0.03, 1, &result);
    assert_false(result.is_film);
    assert_false(result.passed);
}

static void a_range_cut_short_is_refused(void **state)
{
    (void)state;
    struct wp_spectrum s;
    struct wp_curve curve;
    struct wp_film_check result;
    made_spectrum(&s, film, FILM, 92, 0.03, 1);
    s.count = 1000;
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    assert_int_equal(wp_film_check(&curve, &result), WP_INVALID);
    assert_false(result.passed || result.is_film);
    assert_true(isnan(result.noise));
    wp_curve_release(&curve);
    wp_spectrum_release(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_good_film_passes),
        cmocka_unit_test(the_certified_minima_lie_within_the_pharmacopoeia),
        cmocka_unit_test(a_shifted_axis_fails_and_the_shift_is_told),
        cmocka_unit_test(poor_resolution_fails),
        cmocka_unit_test(another_aromatic_is_no_film),
        cmocka_unit_test(a_range_cut_short_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
