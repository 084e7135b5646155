#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "made_curve.h"
#include "remarks_table.h"
#include "spectrum/film.h"
#include "spectrum/likeness.h"
#include "spectrum/remarks.h"

static const struct made_band usual[] = {
    {2960, 0.5, 30}, {1718, 0.9, 18}, {1365, 0.3, 16}, {1222, 0.35, 20}, {905, 0.1, 14}};
#define USUAL (sizeof usual / sizeof usual[0])

static void examine_with(const struct made_band *bands, size_t count, double baseline, double noise,
                         const struct wp_context *context, struct wp_examination *out)
{
    struct wp_spectrum s;
    struct wp_curve curve;
    made_spectrum(&s, bands, count, baseline, noise, 4);
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    assert_int_equal(wp_examine(&s, &curve, context, out), WP_OK);
    wp_curve_release(&curve);
    wp_spectrum_release(&s);
}

static const struct wp_remark *remark(const struct wp_examination *e, const char *code)
{
    for (size_t i = 0; i < e->remark_count; i++)
        if (strcmp(e->remarks[i].code, code) == 0)
            return &e->remarks[i];
    return NULL;
}

static void an_ordinary_film_raises_nothing(void **state)
{
    (void)state;
    struct wp_examination e;
    examine_with(usual, USUAL, 90, 0.05, NULL, &e);
    assert_int_equal(e.verdict, WP_USABLE);
    assert_int_equal(e.remark_count, 0);
    assert_int_equal(e.band_count, USUAL);
    assert_false(e.air_mark);
    assert_true(e.baseline > 87 && e.baseline < 90);
}

static void scaled(double factor, struct made_band out[USUAL])
{
    for (size_t i = 0; i < USUAL; i++)
        out[i] = (struct made_band){usual[i].position, usual[i].height * factor, usual[i].width};
}

static void a_thick_film_is_to_be_run_again_with_the_labs_own_solvent(void **state)
{
    (void)state;
    struct made_band thick[USUAL];
    struct wp_examination e;
    struct wp_context context = {.preparation = WP_PREP_LIQUID_FILM,
                                 .cleaning_solvent = "propan-2-ol"};
    scaled(40, thick);
    examine_with(thick, USUAL, 90, 0.05, &context, &e);
    const struct wp_remark *r = remark(&e, "too-strong");
    assert_non_null(r);
    assert_int_equal(e.verdict, WP_RUN_AGAIN);
    assert_string_equal(r->text, "5 bands are cut off flat");
    assert_string_equal(
        r->advice, "Too strong: 5 bands are cut off flat. Open the plates, wipe ONE, close them, "
                   "run again. About 2 minutes. Clean plates with propan-2-ol in the hood; see "
                   "the SDS.");
    assert_true(!isnan(r->position));
    context.cleaning_solvent = NULL;
    examine_with(thick, USUAL, 90, 0.05, &context, &e);
    assert_null(strstr(remark(&e, "too-strong")->advice, "SDS"));
}

static void too_little_sample_is_told_in_two_degrees(void **state)
{
    (void)state;
    struct made_band thin[USUAL];
    struct wp_examination e;
    scaled(0.09, thin); /* 17 % of the light */
    examine_with(thin, USUAL, 90, 0.02, NULL, &e);
    assert_non_null(remark(&e, "too-weak"));
    assert_int_equal(e.verdict, WP_USABLE_WITH_NOTE);
    scaled(0.045, thin); /* 9 % */
    examine_with(thin, USUAL, 90, 0.02, NULL, &e);
    assert_non_null(remark(&e, "too-weak"));
    assert_int_equal(e.verdict, WP_RUN_AGAIN);
    struct wp_context atr = {.preparation = WP_PREP_ATR};
    examine_with(thin, USUAL, 98, 0.02, &atr, &e);
    assert_int_equal(e.verdict, WP_USABLE);
}

static void nothing_in_the_beam_is_told_apart(void **state)
{
    (void)state;
    struct wp_examination e;
    examine_with(NULL, 0, 100, 0.05, NULL, &e);
    assert_non_null(strstr(remark(&e, "no-sample")->text, "empty"));
    examine_with(NULL, 0, 88, 0.05, NULL, &e);
    assert_non_null(strstr(remark(&e, "no-sample")->text, "plates"));
    examine_with(NULL, 0, 0.4, 0.05, NULL, &e);
    assert_non_null(strstr(remark(&e, "no-sample")->text, "blocked"));
    assert_int_equal(e.verdict, WP_RUN_AGAIN);
    struct wp_context blank = {.kind = WP_KIND_BLANK};
    examine_with(NULL, 0, 88, 0.05, &blank, &e);
    assert_int_equal(e.remark_count, 0);
    assert_int_equal(e.verdict, WP_USABLE);
}

static void baselines_are_graded(void **state)
{
    (void)state;
    static const struct {
        double level;
        enum wp_verdict verdict;
        bool remark;
    } cases[] = {{65, WP_USABLE, false},
                 {52, WP_USABLE_WITH_NOTE, true},
                 {30, WP_USABLE_WITH_NOTE, true},
                 {15, WP_RUN_AGAIN, true}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wp_examination e;
        examine_with(usual, USUAL, cases[i].level, 0.02, NULL, &e);
        assert_int_equal(e.verdict, cases[i].verdict);
        assert_int_equal(remark(&e, "baseline") != NULL, cases[i].remark);
    }
}

static void settings_unlike_the_labs_are_told(void **state)
{
    (void)state;
    struct wp_spectrum s;
    struct wp_curve curve;
    struct wp_examination e;
    struct wp_context lab = {
        .lab_resolution = 4, .lab_scans = 16, .lab_low = 400, .lab_high = 4000};
    made_spectrum(&s, usual, USUAL, 90, 0.05, 4);
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    s.resolution = 4;
    s.scans = 16;
    assert_int_equal(wp_examine(&s, &curve, &lab, &e), WP_OK);
    assert_int_equal(e.remark_count, 0);
    s.resolution = 16;
    s.scans = 1;
    s.processed = true;
    lab.lab_low = 350;
    assert_int_equal(wp_examine(&s, &curve, &lab, &e), WP_OK);
    assert_int_equal(e.remark_count, 2); /* of four: at most two, worst first */
    assert_string_equal(e.remarks[0].code, "settings");
    assert_string_equal(e.remarks[1].code, "range");
    assert_string_equal(e.remarks[0].text, "recorded at 16 cm-1 resolution");
    wp_curve_release(&curve);
    wp_spectrum_release(&s);
}

static void a_file_cut_off_in_the_middle_is_to_be_exported_again(void **state)
{
    (void)state;
    struct wp_spectrum s;
    struct wp_curve curve;
    struct wp_examination e;
    struct wp_context blank = {.kind = WP_KIND_BLANK};
    made_spectrum(&s, usual, USUAL, 90, 0.05, 4);
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    s.stated = s.count + s.count / 100; /* a point or two amiss is a program's habit */
    assert_int_equal(wp_examine(&s, &curve, NULL, &e), WP_OK);
    assert_int_equal(e.remark_count, 0);
    s.stated = 2 * s.count;
    assert_int_equal(wp_examine(&s, &curve, NULL, &e), WP_OK);
    assert_int_equal(e.verdict, WP_RUN_AGAIN);
    assert_string_equal(e.remarks[0].code, "incomplete");
    assert_string_equal(e.remarks[0].text, "the file is cut off: 50 % of its points are there");
    assert_int_equal(wp_examine(&s, &curve, &blank, &e), WP_OK);
    assert_int_equal(e.verdict, WP_RUN_AGAIN);
    wp_curve_release(&curve);
    wp_spectrum_release(&s);
}

/* Main bands of acetone: PNNL liquid data, DOI 10.25584/2997107. */
static void a_solvent_left_is_for_staff_and_leaves_the_verdict(void **state)
{
    (void)state;
    static const struct made_band wet_with_it[] = {{2925, 0.9, 40},     {2855, 0.5, 20},
                                                   {1715.4, 0.25, 15},  {1363.0, 0.125, 15},
                                                   {1222.2, 0.125, 15}, {722, 0.2, 10}};
    struct wp_examination e;
    struct wp_context context = {.staff = true, .solvents = {"Acetone"}, .solvent_count = 1};
    examine_with(wet_with_it, 6, 90, 0.03, &context, &e);
    assert_non_null(remark(&e, "solvent-left"));
    assert_true(remark(&e, "solvent-left")->staff_only);
    assert_int_equal(e.verdict, WP_USABLE);
    context.staff = false;
    examine_with(wet_with_it, 6, 90, 0.03, &context, &e);
    assert_int_equal(e.remark_count, 0);
    context = (struct wp_context){.staff = true, .solvents = {"ethanol"}, .solvent_count = 1};
    examine_with(wet_with_it, 6, 90, 0.03, &context, &e);
    assert_int_equal(e.remark_count, 0);
}

static void carbon_dioxide_is_silent_grey_or_said(void **state)
{
    (void)state;
    for (int i = 0; i < 3; i++) {
        const double heights[] = {0.008, 0.05, 0.2};
        struct made_band bands[USUAL + 2];
        struct wp_examination e;
        memcpy(bands, usual, sizeof usual);
        bands[USUAL] = (struct made_band){2361, heights[i], 14};
        bands[USUAL + 1] = (struct made_band){2340, heights[i], 14};
        examine_with(bands, USUAL + 2, 90, 0.02, NULL, &e);
        assert_int_equal(e.air_mark, i > 0);
        assert_int_equal(remark(&e, "air") != NULL, i > 1);
    }
}

static void the_plates_cut_off_limits_the_bands(void **state)
{
    (void)state;
    struct made_band bands[USUAL + 1];
    struct wp_examination e;
    struct wp_context context = {.plates = WP_PLATES_NACL};
    memcpy(bands, usual, sizeof usual);
    bands[USUAL] = (struct made_band){560, 0.6, 20};
    examine_with(bands, USUAL + 1, 90, 0.03, &context, &e);
    assert_int_equal(e.band_count, USUAL);
    assert_true(e.cut_off == 650.0);
    context.plates = WP_PLATES_KBR;
    examine_with(bands, USUAL + 1, 90, 0.03, &context, &e);
    assert_int_equal(e.band_count, USUAL + 1);
}

static void other_techniques_get_bands_but_no_remarks(void **state)
{
    (void)state;
    struct wp_spectrum s;
    struct wp_curve curve;
    struct wp_examination e;
    made_spectrum(&s, NULL, 0, 30, 3, 4);
    s.technique = WP_UV_VIS;
    assert_int_equal(wp_curve_make(&s, &curve, NULL), WP_OK);
    assert_int_equal(wp_examine(&s, &curve, NULL, &e), WP_OK);
    assert_int_equal(e.remark_count, 0);
    assert_true(isnan(e.noise));
    wp_curve_release(&curve);
    wp_spectrum_release(&s);
}

/* No advice may tell a student to heat, press, open a cover or touch what staff look after, and no
 * sentence may be longer than its room. */
static void advice_is_whole_and_harmless(void **state)
{
    (void)state;
    static const char *const forbidden[] = {"press", "heat",      "cover of",
                                            "purge", "desiccant", "laser"};
    for (size_t i = 0; i < WP_LIMITS; i++) {
        const struct wp_limit_row *row = &wp_limit_rows[i];
        assert_true(row->code && row->name && row->unit && row->source && row->confidence);
        assert_true(row->severity == 0 || (row->text[0] && row->advice[0]));
        assert_true(strlen(row->text) < 110 && strlen(row->advice) < 200);
        for (size_t k = 0; k < sizeof forbidden / sizeof forbidden[0]; k++)
            assert_null(strstr(row->advice, forbidden[k]));
    }
}

/* docs/remarks.md shows the table as the program has it. */
static void the_document_lists_every_threshold(void **state)
{
    (void)state;
    static char text[65536];
    FILE *file = fopen(REMARKS_DOCUMENT, "rb");
    if (!file)
        fail_msg("cannot open %s", REMARKS_DOCUMENT);
    text[fread(text, 1, sizeof text - 1, file)] = '\0';
    fclose(file);
    for (size_t i = 0; i < WP_LIMITS; i++) {
        const struct wp_limit_row *row = &wp_limit_rows[i];
        char line[400];
        snprintf(line, sizeof line, "| %s | %s | %g %s | %s | %s |", row->code, row->name,
                 row->value, row->unit, row->source, row->confidence);
        if (!strstr(text, line))
            fail_msg("not in the document: %s", line);
    }
}

/* Numbers of any size, in any order, from a damaged or hostile file. The sanitizers watch. */
static void hostile_numbers_do_no_harm(void **state)
{
    (void)state;
    static const double odd[] = {0,      1,   -1,   1e308, -1e308, 1e-308, INFINITY, -INFINITY,
                                 NAN,    1e9, 4000, 399.2, 100,    1e-4,   -0.0,     2349.0,
                                 5e-324, 0.5, 1e16, 1e5,   2000,   -4000,  1e-16,    3.0};
    enum { COUNT = 600, ODD = sizeof odd / sizeof odd[0] };
    static double x[COUNT];
    static double y[COUNT];
    uint64_t seed = 3;
    size_t examined = 0;
    for (int round = 0; round < 3000; round++) {
        struct wp_spectrum s = {.technique = WP_INFRARED, .count = COUNT, .x = x, .y = y};
        struct wp_curve curve;
        struct wp_examination e;
        s.x_unit = (enum wp_x_unit)(round % 3);
        s.y_unit = (enum wp_y_unit)(round / 3 % 3);
        for (size_t i = 0; i < COUNT; i++) {
            double noise = made_noise(&seed);
            x[i] = round % 2 ? 400.0 + 6.0 * (double)i : noise * odd[(seed >> 33) % ODD];
            y[i] = (seed >> 13) % 4 ? noise * odd[(seed >> 43) % ODD] : 80.0 + noise;
            if (!isfinite(x[i]))
                x[i] = 1.0; /* abscissae are always finite */
        }
        if (wp_curve_make(&s, &curve, NULL))
            continue;
        assert_int_equal(wp_examine(&s, &curve, NULL, &e), WP_OK);
        assert_true(e.band_count <= WP_BANDS_MOST && e.remark_count <= WP_REMARKS_MOST);
        struct wp_film_check film;
        struct wp_print print;
        wp_film_check(&curve, &film);
        wp_print_make(&curve, &print);
        wp_print_compare(&print, &print);
        wp_curve_release(&curve);
        examined++;
    }
    assert_true(examined > 2000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_ordinary_film_raises_nothing),
        cmocka_unit_test(a_thick_film_is_to_be_run_again_with_the_labs_own_solvent),
        cmocka_unit_test(too_little_sample_is_told_in_two_degrees),
        cmocka_unit_test(nothing_in_the_beam_is_told_apart),
        cmocka_unit_test(baselines_are_graded),
        cmocka_unit_test(settings_unlike_the_labs_are_told),
        cmocka_unit_test(a_file_cut_off_in_the_middle_is_to_be_exported_again),
        cmocka_unit_test(a_solvent_left_is_for_staff_and_leaves_the_verdict),
        cmocka_unit_test(carbon_dioxide_is_silent_grey_or_said),
        cmocka_unit_test(the_plates_cut_off_limits_the_bands),
        cmocka_unit_test(other_techniques_get_bands_but_no_remarks),
        cmocka_unit_test(hostile_numbers_do_no_harm),
        cmocka_unit_test(advice_is_whole_and_harmless),
        cmocka_unit_test(the_document_lists_every_threshold),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
