/* One sheet: the same bytes each time, bounded, and errors that say what is wrong. */
#include <math.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fixture.h"

enum { THREADS = 4, LIMIT = 16 << 20 };

static const enum wp_sheet_format formats[] = {WP_SHEET_PDF, WP_SHEET_PNG, WP_SHEET_SVG};

static struct wp_bytes draw(struct wp_sheet_fonts *fonts, const struct wp_sheet_input *input,
                            enum wp_sheet_format format)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, LIMIT);
    struct wp_error error = {WP_OK, 0, 0, ""};
    enum wp_status status = wp_sheet_render(fonts, input, format, &bytes, &error);
    if (status)
        fail_msg("%s", error.text);
    return bytes;
}

static void the_same_sheet_gives_the_same_bytes(void **state)
{
    (void)state;
    struct wp_sheet_fonts *first = fixture_fonts();
    for (size_t k = 0; k < FIXTURE_KINDS; k++)
        for (size_t f = 0; f < 3; f++) {
            struct fixture_kind *kind = fixture_kind_new(k);
            struct wp_sheet_fonts *second = fixture_fonts();
            struct wp_bytes a = draw(first, &kind->input, formats[f]);
            struct wp_bytes b = draw(second, &kind->input, formats[f]);
            assert_int_equal(a.size, b.size);
            assert_memory_equal(a.data, b.data, a.size);
            wp_bytes_release(&a);
            wp_bytes_release(&b);
            wp_sheet_fonts_free(second);
            fixture_kind_free(kind);
        }
    wp_sheet_fonts_free(first);
}

static void the_files_begin_as_their_kind_does(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct fixture_kind *kind = fixture_kind_new(0);
    static const char *const begins[] = {"%PDF-1.", "\x89PNG\r\n", "<?xml "};
    for (size_t f = 0; f < 3; f++) {
        struct wp_bytes bytes = draw(fonts, &kind->input, formats[f]);
        assert_memory_equal(bytes.data, begins[f], strlen(begins[f]));
        wp_bytes_release(&bytes);
    }
    fixture_kind_free(kind);
    wp_sheet_fonts_free(fonts);
}

struct job {
    struct wp_sheet_fonts *fonts;
    const struct wp_sheet_input *input;
    const struct wp_bytes *expected;
    int wrong;
};

static void *draw_many(void *argument)
{
    struct job *job = argument;
    for (int i = 0; i < 8; i++) {
        struct wp_bytes bytes;
        wp_bytes_init(&bytes, LIMIT);
        if (wp_sheet_render(job->fonts, job->input, formats[i % 3], &bytes, NULL) ||
            bytes.size != job->expected[i % 3].size ||
            memcmp(bytes.data, job->expected[i % 3].data, bytes.size) != 0)
            job->wrong++;
        wp_bytes_release(&bytes);
    }
    return NULL;
}

static void threads_share_the_fonts_and_draw_the_same(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct fixture_kind *kind = fixture_kind_new(3);
    struct wp_bytes expected[3];
    for (size_t f = 0; f < 3; f++)
        expected[f] = draw(fonts, &kind->input, formats[f]);
    pthread_t threads[THREADS];
    struct job jobs[THREADS];
    for (int i = 0; i < THREADS; i++) {
        jobs[i] = (struct job){fonts, &kind->input, expected, 0};
        assert_int_equal(pthread_create(&threads[i], NULL, draw_many, &jobs[i]), 0);
    }
    for (int i = 0; i < THREADS; i++) {
        pthread_join(threads[i], NULL);
        assert_int_equal(jobs[i].wrong, 0);
    }
    for (size_t f = 0; f < 3; f++)
        wp_bytes_release(&expected[f]);
    fixture_kind_free(kind);
    wp_sheet_fonts_free(fonts);
}

static void the_locale_changes_nothing(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct fixture_kind *kind = fixture_kind_new(3);
    struct wp_bytes plain = draw(fonts, &kind->input, WP_SHEET_PDF);
    setenv("LANGUAGE", "ja:ko", 1);
    setenv("PANGO_LANGUAGE", "ko", 1);
    setenv("LC_ALL", "C.UTF-8", 1);
    setenv("SOURCE_DATE_EPOCH", "1", 1);
    struct wp_sheet_fonts *others = fixture_fonts();
    struct wp_bytes again = draw(others, &kind->input, WP_SHEET_PDF);
    assert_int_equal(plain.size, again.size);
    assert_memory_equal(plain.data, again.data, plain.size);
    wp_bytes_release(&plain);
    wp_bytes_release(&again);
    wp_sheet_fonts_free(others);
    fixture_kind_free(kind);
    wp_sheet_fonts_free(fonts);
}

static void refused(struct wp_sheet_fonts *fonts, const struct wp_sheet_input *input,
                    enum wp_sheet_format format, const char *word)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, LIMIT);
    struct wp_error error = {WP_OK, 0, 0, ""};
    assert_int_equal(wp_sheet_render(fonts, input, format, &bytes, &error), WP_INVALID);
    assert_non_null(strstr(error.text, word));
    assert_int_equal(bytes.size, 0);
    wp_bytes_release(&bytes);
}

static void wrong_input_is_refused_with_a_reason(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct fixture_kind *kind = fixture_kind_new(0);
    struct wp_sheet_input input = kind->input;
    input.spectrum = NULL;
    refused(fonts, &input, WP_SHEET_PDF, "spectrum");
    input = kind->input;
    input.accession = "";
    refused(fonts, &input, WP_SHEET_PDF, "accession");
    input = kind->input;
    input.person_count = WP_SHEET_PERSONS_MOST + 1;
    refused(fonts, &input, WP_SHEET_PDF, "persons");
    input = kind->input;
    input.other_count = WP_SHEET_OTHERS_MOST + 1;
    refused(fonts, &input, WP_SHEET_PDF, "overlay");
    input = kind->input;
    input.options.dots_an_inch = 5000;
    refused(fonts, &input, WP_SHEET_PNG, "dots an inch");
    input.options.dots_an_inch = NAN;
    refused(fonts, &input, WP_SHEET_PNG, "dots an inch");
    struct wp_spectrum raman;
    fixture_blank(&raman, WP_RAMAN, WP_X_CM1, WP_Y_OTHER, 200, 3200, 100);
    input = kind->input;
    input.other_count = 1;
    input.others[0].spectrum = &raman;
    refused(fonts, &input, WP_SHEET_PDF, "units");
    wp_spectrum_release(&raman);
    fixture_kind_free(kind);
    wp_sheet_fonts_free(fonts);
}

static void a_full_buffer_is_told_and_left_as_it_was(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct fixture_kind *kind = fixture_kind_new(0);
    for (size_t f = 0; f < 3; f++) {
        struct wp_bytes bytes;
        wp_bytes_init(&bytes, 5000);
        assert_int_equal(wp_bytes_add_text(&bytes, "before"), WP_OK);
        assert_int_equal(wp_sheet_render(fonts, &kind->input, formats[f], &bytes, NULL),
                         WP_TOO_LARGE);
        assert_string_equal(bytes.data, "before");
        assert_int_equal(bytes.size, 6);
        wp_bytes_release(&bytes);
    }
    fixture_kind_free(kind);
    wp_sheet_fonts_free(fonts);
}

static void hardly_anything_known_is_enough(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    static const size_t counts[] = {2, 3, 17, 100000};
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++)
        for (int unit = WP_Y_TRANSMITTANCE; unit <= WP_Y_OTHER; unit++) {
            struct wp_spectrum spectrum;
            fixture_blank(&spectrum, (enum wp_technique)(unit % 4), WP_X_CM1, (enum wp_y_unit)unit,
                          400, 4000, counts[i]);
            struct wp_sheet_input input = {.spectrum = &spectrum, .accession = "1"};
            struct wp_bytes bytes = draw(fonts, &input, WP_SHEET_PDF);
            assert_true(bytes.size > 1000 && bytes.size < 300000);
            wp_bytes_release(&bytes);
            wp_spectrum_release(&spectrum);
        }
    wp_sheet_fonts_free(fonts);
}

static void strange_numbers_do_not_break_the_drawing(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    static const double strange[] = {1e300, -1e300, 1e-300, INFINITY, -INFINITY, NAN, -0.0};
    struct fixture_random random = {99};
    for (int round = 0; round < 300; round++) {
        struct wp_spectrum spectrum;
        fixture_blank(&spectrum, (enum wp_technique)fixture_below(&random, 4),
                      (enum wp_x_unit)fixture_below(&random, 4),
                      (enum wp_y_unit)fixture_below(&random, 4), 0,
                      pow(10, fixture_uniform(&random, -6, 9)), 2 + fixture_below(&random, 50));
        spectrum.discrete = fixture_below(&random, 3) == 0;
        for (size_t i = 0; i < spectrum.count; i++)
            spectrum.y[i] = fixture_below(&random, 4) ? fixture_uniform(&random, -5, 120)
                                                      : strange[fixture_below(&random, 7)];
        struct wp_sheet_input input = {.spectrum = &spectrum, .accession = "1"};
        struct wp_bytes bytes;
        wp_bytes_init(&bytes, LIMIT);
        enum wp_status status = wp_sheet_render(fonts, &input, WP_SHEET_PDF, &bytes, NULL);
        assert_true(status == WP_OK || status == WP_INVALID);
        wp_bytes_release(&bytes);
        wp_spectrum_release(&spectrum);
    }
    wp_sheet_fonts_free(fonts);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_sheet_gives_the_same_bytes),
        cmocka_unit_test(the_files_begin_as_their_kind_does),
        cmocka_unit_test(threads_share_the_fonts_and_draw_the_same),
        cmocka_unit_test(the_locale_changes_nothing),
        cmocka_unit_test(wrong_input_is_refused_with_a_reason),
        cmocka_unit_test(a_full_buffer_is_told_and_left_as_it_was),
        cmocka_unit_test(hardly_anything_known_is_enough),
        cmocka_unit_test(strange_numbers_do_not_break_the_drawing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
