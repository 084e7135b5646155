/* The curve's path: thinned, but the same to the eye; gaps stay gaps. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cairo.h>
#include <cmocka.h>

#include "fixture.h"
#include "trace.h"

static const struct sheet_y percent = {
    .ordinate = SHEET_PERCENT, .down = true, .low = 0, .high = 100, .top = 10, .bottom = 310};

static struct sheet_trace trace_of(const struct wp_spectrum *spectrum)
{
    struct sheet_trace trace;
    struct sheet_x axis = {.left = 20, .right = 740};
    assert_int_equal(sheet_trace_make(&trace, spectrum, true, SHEET_PERCENT, NULL), WP_OK);
    double x[2] = {INFINITY, -INFINITY};
    double v[2] = {INFINITY, -INFINITY};
    sheet_trace_range(&trace, x, v);
    sheet_x_choose(&axis, spectrum, x[0], x[1], false);
    assert_int_equal(sheet_trace_map(&trace, &axis), WP_OK);
    return trace;
}

/* Counts what is in the path of a trace. */
static void path_of(const struct sheet_trace *trace, size_t *moves, size_t *lines)
{
    cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR, NULL);
    cairo_t *cr = cairo_create(surface);
    sheet_trace_path(cr, trace, &percent);
    cairo_path_t *path = cairo_copy_path(cr);
    *moves = *lines = 0;
    for (int i = 0; i < path->num_data; i += path->data[i].header.length) {
        *moves += path->data[i].header.type == CAIRO_PATH_MOVE_TO ? 1 : 0;
        *lines += path->data[i].header.type == CAIRO_PATH_LINE_TO ? 1 : 0;
    }
    cairo_path_destroy(path);
    cairo_destroy(cr);
    cairo_surface_destroy(surface);
}

static void rough(struct wp_spectrum *spectrum, size_t count)
{
    struct fixture_shape shape = {4000, 400, count, 60, 80, 1, 11};
    fixture_infrared(spectrum, NULL, 0, &shape);
}

/* The farthest that any point lies from the drawn piece above or below it. */
static double farthest(const struct sheet_trace *trace)
{
    cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR, NULL);
    cairo_t *cr = cairo_create(surface);
    sheet_trace_path(cr, trace, &percent);
    cairo_path_t *path = cairo_copy_path(cr);
    double worst = 0;
    size_t at = 0;
    for (int i = 2; i < path->num_data; i += 2) {
        cairo_path_data_t *from = &path->data[i - 1];
        cairo_path_data_t *to = &path->data[i + 1];
        assert_int_equal(path->data[i].header.type, CAIRO_PATH_LINE_TO);
        for (; at < trace->count && trace->x[at] <= to->point.x; at++) {
            double run = to->point.x - from->point.x;
            double part = run > 0 ? (trace->x[at] - from->point.x) / run : 1;
            double y = from->point.y + part * (to->point.y - from->point.y);
            double slope = run > 0 ? (to->point.y - from->point.y) / run : 0;
            double off = y - sheet_y_at(&percent, trace->v[at]);
            worst = fmax(worst, fabs(off) / sqrt(1 + slope * slope));
        }
    }
    cairo_path_destroy(path);
    cairo_destroy(cr);
    cairo_surface_destroy(surface);
    assert_true(at + 1 >= trace->count);
    return worst;
}

static void a_smooth_curve_needs_few_points_and_stays_within_a_hair(void **state)
{
    (void)state;
    struct wp_spectrum spectrum;
    struct fixture_band band = {1700, 0.7, 60};
    struct fixture_shape shape = {4000, 400, 1801, 90, 0, 1, 3};
    fixture_infrared(&spectrum, &band, 1, &shape);
    struct sheet_trace trace = trace_of(&spectrum);
    size_t moves, lines;
    path_of(&trace, &moves, &lines);
    assert_int_equal(moves, 1);
    assert_true(lines < 400);
    /* 0.03 for what is left out, and half a diagonal of the grid of 1/16. */
    assert_true(farthest(&trace) < 0.03 + sqrt(2) / 32 + 1e-6);
    sheet_trace_release(&trace);
    wp_spectrum_release(&spectrum);
}

static void a_rough_curve_keeps_its_points(void **state)
{
    (void)state;
    struct wp_spectrum spectrum;
    rough(&spectrum, 700);
    struct sheet_trace trace = trace_of(&spectrum);
    size_t moves, lines;
    path_of(&trace, &moves, &lines);
    assert_int_equal(moves, 1);
    assert_true(lines > 690 && lines < 700);
    sheet_trace_release(&trace);
    wp_spectrum_release(&spectrum);
}

static void a_hundred_thousand_points_become_at_most_four_a_column(void **state)
{
    (void)state;
    struct wp_spectrum spectrum;
    rough(&spectrum, 100000);
    struct sheet_trace trace = trace_of(&spectrum);
    size_t moves, lines;
    path_of(&trace, &moves, &lines);
    assert_int_equal(moves, 1);
    assert_true(lines <= 4 * (720 * 300 / 72 + 2));
    sheet_trace_release(&trace);
    wp_spectrum_release(&spectrum);
}

/* Draws the path, thinned or point by point, at 300 dots an inch. */
static cairo_surface_t *picture(const struct sheet_trace *trace, bool thinned)
{
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_A8, 3200, 1340);
    cairo_t *cr = cairo_create(surface);
    cairo_scale(cr, 300.0 / 72, 300.0 / 72);
    if (thinned)
        sheet_trace_path(cr, trace, &percent);
    for (size_t i = 0; !thinned && i < trace->count; i++)
        cairo_line_to(cr, trace->x[i], sheet_y_at(&percent, trace->v[i]));
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_width(cr, 0.85);
    cairo_stroke(cr);
    cairo_destroy(cr);
    cairo_surface_flush(surface);
    return surface;
}

static void thinning_does_not_show(void **state)
{
    (void)state;
    struct wp_spectrum spectrum;
    struct fixture_band band = {1700, 1, 20};
    struct fixture_shape shape = {4000, 400, 20000, 90, 4, 1, 3};
    fixture_infrared(&spectrum, &band, 1, &shape);
    struct sheet_trace trace = trace_of(&spectrum);
    cairo_surface_t *thin = picture(&trace, true);
    cairo_surface_t *full = picture(&trace, false);
    const unsigned char *a = cairo_image_surface_get_data(thin);
    const unsigned char *b = cairo_image_surface_get_data(full);
    size_t size = (size_t)cairo_image_surface_get_stride(thin) * 1340;
    size_t inked = 0;
    size_t differ = 0;
    for (size_t i = 0; i < size; i++) {
        inked += b[i] > 128 ? 1 : 0;
        differ += abs((int)a[i] - (int)b[i]) > 128 ? 1 : 0;
    }
    assert_true(inked > 10000);
    assert_true(differ * 500 < inked);
    cairo_surface_destroy(thin);
    cairo_surface_destroy(full);
    sheet_trace_release(&trace);
    wp_spectrum_release(&spectrum);
}

static void missing_points_leave_a_gap_and_a_lone_point_shows(void **state)
{
    (void)state;
    struct wp_spectrum spectrum;
    rough(&spectrum, 301);
    for (size_t i = 100; i < 200; i++)
        spectrum.y[i] = i == 150 ? 50 : NAN;
    struct sheet_trace trace = trace_of(&spectrum);
    size_t moves, lines;
    path_of(&trace, &moves, &lines);
    assert_int_equal(moves, 3);
    assert_true(lines <= 99 + 1 + 100 && lines >= 195);
    sheet_trace_release(&trace);
    wp_spectrum_release(&spectrum);
}

static void points_in_any_order_are_drawn_from_left_to_right(void **state)
{
    (void)state;
    struct wp_spectrum spectrum;
    rough(&spectrum, 300);
    struct fixture_random random = {17};
    for (size_t i = 0; i < 300; i++) {
        size_t k = fixture_below(&random, 300);
        double x = spectrum.x[i];
        spectrum.x[i] = spectrum.x[k];
        spectrum.x[k] = x;
    }
    struct sheet_trace trace = trace_of(&spectrum);
    assert_int_equal(trace.count, 300);
    for (size_t i = 1; i < trace.count; i++)
        assert_true(trace.x[i] >= trace.x[i - 1]);
    sheet_trace_release(&trace);
    wp_spectrum_release(&spectrum);
}

static void fewer_than_two_points_are_refused(void **state)
{
    (void)state;
    struct wp_spectrum spectrum;
    rough(&spectrum, 5);
    for (size_t i = 1; i < 5; i++)
        spectrum.y[i] = NAN;
    struct sheet_trace trace;
    struct wp_error error;
    assert_int_equal(sheet_trace_make(&trace, &spectrum, true, SHEET_PERCENT, &error), WP_INVALID);
    assert_non_null(strstr(error.text, "two points"));
    wp_spectrum_release(&spectrum);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_smooth_curve_needs_few_points_and_stays_within_a_hair),
        cmocka_unit_test(a_rough_curve_keeps_its_points),
        cmocka_unit_test(a_hundred_thousand_points_become_at_most_four_a_column),
        cmocka_unit_test(thinning_does_not_show),
        cmocka_unit_test(missing_points_leave_a_gap_and_a_lone_point_shows),
        cmocka_unit_test(points_in_any_order_are_drawn_from_left_to_right),
        cmocka_unit_test(fewer_than_two_points_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
