/* What must hold for every sheet, tried on 1,000 random spectra. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cairo.h>
#include <cmocka.h>

#include "fixture.h"
#include "fonts.h"
#include "page.h"
#include "plan.h"

enum { SPECTRA = 1000, BANDS_MOST = 40 };

struct segment {
    double x0, y0, x1, y1;
};

static double cross(double ax, double ay, double bx, double by)
{
    return ax * by - ay * bx;
}

static bool segments_meet(const struct segment *a, const struct segment *b)
{
    double rx = a->x1 - a->x0;
    double ry = a->y1 - a->y0;
    double sx = b->x1 - b->x0;
    double sy = b->y1 - b->y0;
    double d = cross(rx, ry, sx, sy);
    if (fabs(d) < 1e-12)
        return false; /* parallel: another side of the box or the neighbour segment tells */
    double t = cross(b->x0 - a->x0, b->y0 - a->y0, sx, sy) / d;
    double u = cross(b->x0 - a->x0, b->y0 - a->y0, rx, ry) / d;
    return t >= 0 && t <= 1 && u >= 0 && u <= 1;
}

static bool inside(const struct sheet_box *box, double x, double y)
{
    return x > box->x && x < box->x + box->w && y > box->y && y < box->y + box->h;
}

static bool segment_meets_box(const struct segment *s, const struct sheet_box *b)
{
    const struct segment sides[4] = {{b->x, b->y, b->x + b->w, b->y},
                                     {b->x, b->y + b->h, b->x + b->w, b->y + b->h},
                                     {b->x, b->y, b->x, b->y + b->h},
                                     {b->x + b->w, b->y, b->x + b->w, b->y + b->h}};
    if (inside(b, s->x0, s->y0) || inside(b, s->x1, s->y1))
        return true;
    for (int i = 0; i < 4; i++)
        if (segments_meet(s, &sides[i]))
            return true;
    return false;
}

static struct sheet_box label_box(const struct sheet_plan *plan, size_t index)
{
    const struct sheet_label *label = &plan->labels[index];
    struct sheet_label_place place = sheet_label_on_page(label, &plan->label_style, &plan->y);
    double half = plan->label_style.pitch / 2 - 0.01;
    return (struct sheet_box){label->at - half, fmin(place.near_y, place.far_y), 2 * half,
                              fabs(place.far_y - place.near_y)};
}

static void label_leader(const struct sheet_plan *plan, size_t index, struct segment leader[2])
{
    const struct sheet_label *label = &plan->labels[index];
    struct sheet_label_place place = sheet_label_on_page(label, &plan->label_style, &plan->y);
    double away = plan->y.down ? 1 : -1;
    leader[0] = (struct segment){label->anchor, place.tip_y, label->anchor, place.bend_y};
    leader[1] = (struct segment){label->anchor, place.bend_y, label->at, place.near_y - away};
}

static void check_frame(const struct sheet_plan *plan)
{
    for (size_t i = 0; i < plan->label_count; i++) {
        struct sheet_box box = label_box(plan, i);
        assert_true(box.x > plan->frame.x + 0.5);
        assert_true(box.x + box.w < plan->frame.x + plan->frame.w - 0.5);
        assert_true(box.y > plan->frame.y + 0.5);
        assert_true(box.y + box.h < plan->frame.y + plan->frame.h - 0.5);
    }
}

static void check_pairs(const struct sheet_plan *plan)
{
    for (size_t i = 0; i < plan->label_count; i++) {
        struct sheet_box a = label_box(plan, i);
        for (size_t k = 0; k < plan->label_count; k++) {
            struct sheet_box b = label_box(plan, k);
            struct segment leader[2];
            struct segment other[2];
            label_leader(plan, i, leader);
            label_leader(plan, k, other);
            if (i == k)
                continue;
            assert_false(a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h);
            for (int n = 0; n < 2; n++) {
                assert_false(segment_meets_box(&leader[n], &b));
                for (int m = 0; m < 2; m++)
                    assert_false(segments_meet(&leader[n], &other[m]));
            }
        }
    }
}

static void check_curve(const struct sheet_plan *plan, const struct sheet_trace *trace)
{
    for (size_t n = 1; n < trace->count; n++) {
        if (!isfinite(trace->v[n]) || !isfinite(trace->v[n - 1]))
            continue;
        struct segment s = {trace->x[n - 1], sheet_y_at(&plan->y, trace->v[n - 1]), trace->x[n],
                            sheet_y_at(&plan->y, trace->v[n])};
        for (size_t i = 0; i < plan->label_count; i++) {
            struct sheet_box box = label_box(plan, i);
            struct segment leader[2];
            label_leader(plan, i, leader);
            assert_false(segment_meets_box(&s, &box));
            assert_false(segments_meet(&s, &leader[0]));
            assert_false(segments_meet(&s, &leader[1]));
        }
    }
}

/* The number printed and the place the leader points to are both within 2 cm-1 of a band. */
static void check_positions(const struct sheet_plan *plan)
{
    const struct wp_examination *examination = plan->input->examination;
    for (size_t i = 0; i < plan->label_count; i++) {
        const struct sheet_label *label = &plan->labels[i];
        if (label->air)
            continue;
        double nearest = INFINITY;
        for (size_t k = 0; k < examination->band_count; k++) {
            double band = examination->bands[k].position;
            double foot = sheet_x_value(&plan->x, label->anchor);
            double off = fmax(fabs(strtod(label->text, NULL) - band), fabs(foot - band));
            nearest = fmin(nearest, off);
        }
        assert_true(nearest <= 2);
        assert_null(strchr(label->text, '.'));
    }
}

static void check_ink(const struct sheet_plan *plan, struct sheet_painter *painter)
{
    for (int page = 0; page < plan->pages; page++) {
        cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR_ALPHA, NULL);
        cairo_t *cr = cairo_create(surface);
        struct sheet_pen pen = {cr, painter};
        sheet_page_draw(&pen, plan, page);
        double x, y, w, h;
        cairo_recording_surface_ink_extents(surface, &x, &y, &w, &h);
        assert_true(x >= 18 && y >= 18);
        assert_true(x + w <= plan->width - 18 && y + h <= plan->height - 18);
        assert_int_equal(cairo_status(cr), CAIRO_STATUS_SUCCESS);
        cairo_destroy(cr);
        cairo_surface_destroy(surface);
    }
}

static void random_spectrum(struct fixture_random *random, struct wp_spectrum *spectrum)
{
    struct fixture_band bands[BANDS_MOST];
    size_t count = fixture_below(random, BANDS_MOST + 1);
    double low = fixture_below(random, 3) ? 400 : fixture_uniform(random, 350, 900);
    double high = fixture_below(random, 3) ? 4000 : fixture_uniform(random, 2000, 5000);
    for (size_t i = 0; i < count; i++) {
        bands[i].position = fixture_uniform(random, low, fixture_below(random, 3) ? 1800 : high);
        bands[i].height = pow(10, fixture_uniform(random, -2, 0.6));
        bands[i].width = pow(10, fixture_uniform(random, 0.7, 2.4));
    }
    struct fixture_shape shape = {.first = high,
                                  .last = low,
                                  .count = 200 + fixture_below(random, 5000),
                                  .base = fixture_uniform(random, 20, 108),
                                  .noise = pow(10, fixture_uniform(random, -2, 0.7)),
                                  .scale = 1,
                                  .seed = random->state | 1};
    if (fixture_below(random, 2)) {
        shape.first = low;
        shape.last = high;
    }
    fixture_infrared(spectrum, bands, count, &shape);
    size_t gap = fixture_below(random, 4) ? 0 : fixture_below(random, shape.count / 4);
    for (size_t i = 0; i < gap; i++)
        spectrum->y[shape.count / 3 + i] = NAN;
}

static void try_one(struct fixture_random *random, struct sheet_painter *painter)
{
    struct wp_spectrum spectrum;
    random_spectrum(random, &spectrum);
    struct wp_examination examination;
    double cut_off = fixture_below(random, 2) ? fixture_uniform(random, 300, 800) : 0;
    fixture_examine(&spectrum, cut_off, fixture_below(random, 2) == 1, &examination);
    for (size_t i = 0; i < examination.band_count; i++)
        examination.bands[i].saturated |= fixture_below(random, 8) == 0;
    struct wp_sheet_input input = {.spectrum = &spectrum,
                                   .examination = &examination,
                                   .accession = "1000012K",
                                   .persons = {"Somebody"},
                                   .person_count = fixture_below(random, 2)};
    input.options.paper = fixture_below(random, 2) ? WP_SHEET_A4 : WP_SHEET_LETTER;
    input.options.ordinate =
        fixture_below(random, 2) ? WP_SHEET_TRANSMITTANCE : WP_SHEET_ABSORBANCE;
    input.options.compress = fixture_below(random, 2) == 1;
    input.options.large_print = fixture_below(random, 4) == 0;
    struct sheet_plan plan;
    assert_int_equal(sheet_plan_make(&plan, &input, painter, NULL), WP_OK);
    assert_true(plan.label_count <= SHEET_LABELS_MOST);
    assert_true(plan.row_count <= WP_SHEET_BANDS_MOST);
    size_t own = 0;
    for (size_t i = 0; i < examination.band_count; i++)
        own += examination.bands[i].air ? 0 : 1;
    assert_int_equal(plan.row_count, own < WP_SHEET_BANDS_MOST ? own : WP_SHEET_BANDS_MOST);
    assert_true(own == 0 || plan.label_count > 0);
    check_frame(&plan);
    check_pairs(&plan);
    check_curve(&plan, &plan.traces[0]);
    check_positions(&plan);
    check_ink(&plan, painter);
    sheet_plan_release(&plan);
    wp_spectrum_release(&spectrum);
}

static void labels_keep_clear_of_each_other_the_curve_and_the_frame(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct sheet_painter *painter = sheet_painter_borrow(fonts);
    struct fixture_random random = {20260312};
    for (int i = 0; i < SPECTRA; i++) {
        try_one(&random, painter);
    }
    sheet_painter_return(fonts, painter);
    wp_sheet_fonts_free(fonts);
}

static void every_kind_of_sheet_keeps_its_labels_clear(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct sheet_painter *painter = sheet_painter_borrow(fonts);
    for (size_t k = 0; k < FIXTURE_KINDS; k++) {
        struct fixture_kind *kind = fixture_kind_new(k);
        struct sheet_plan plan;
        assert_int_equal(sheet_plan_make(&plan, &kind->input, painter, NULL), WP_OK);
        check_frame(&plan);
        check_pairs(&plan);
        for (size_t i = 0; i < plan.trace_count; i++)
            if (!plan.traces[i].sticks)
                check_curve(&plan, &plan.traces[i]);
        check_ink(&plan, painter);
        sheet_plan_release(&plan);
        fixture_kind_free(kind);
    }
    sheet_painter_return(fonts, painter);
    wp_sheet_fonts_free(fonts);
}

static double cost(const double *from, const double *to, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += (to[i] - from[i]) * (to[i] - from[i]);
    return sum;
}

/* Against a check that knows nothing of pooling: no feasible small change makes it cheaper. */
static void spreading_moves_labels_as_little_as_possible(void **state)
{
    (void)state;
    struct fixture_random random = {5};
    for (int round = 0; round < 2000; round++) {
        double wanted[SHEET_LABELS_MOST] = {0};
        double got[SHEET_LABELS_MOST];
        size_t count = 1 + fixture_below(&random, SHEET_LABELS_MOST);
        double at = 0;
        for (size_t i = 0; i < count; i++)
            wanted[i] = at += fixture_uniform(&random, 0, 12);
        memcpy(got, wanted, sizeof got);
        double high = fmax(at, 8.0 * (double)count);
        sheet_spread(got, count, 8, 0, high);
        for (size_t i = 0; i < count; i++) {
            assert_true(got[i] >= -1e-9 && got[i] <= high + 1e-9);
            assert_true(i == 0 || got[i] - got[i - 1] >= 8 - 1e-9);
        }
        double best = cost(wanted, got, count);
        for (int attempt = 0; attempt < 40; attempt++) {
            double other[SHEET_LABELS_MOST];
            size_t first = fixture_below(&random, count);
            size_t last = first + fixture_below(&random, count - first);
            double shift = fixture_uniform(&random, -1, 1);
            memcpy(other, got, sizeof other);
            for (size_t i = first; i <= last; i++)
                other[i] += shift;
            bool feasible = other[0] >= 0 && other[count - 1] <= high;
            for (size_t i = 1; i < count; i++)
                feasible = feasible && other[i] - other[i - 1] >= 8;
            assert_true(!feasible || cost(wanted, other, count) >= best - 1e-9);
        }
    }
}

static void spreading_gives_a_known_answer(void **state)
{
    (void)state;
    /* By hand: 10, 11, 12 with pitch 4 pool to 7, 11, 15; 40 stays. */
    double places[] = {10, 11, 12, 40};
    sheet_spread(places, 4, 4, 0, 100);
    const double expected[] = {7, 11, 15, 40};
    for (int i = 0; i < 4; i++)
        assert_true(fabs(places[i] - expected[i]) < 1e-12);
    /* Against the left edge: 1, 2 become 3, 7 when nothing may be below 3. */
    double edge[] = {1, 2};
    sheet_spread(edge, 2, 4, 3, 100);
    assert_true(fabs(edge[0] - 3) < 1e-12 && fabs(edge[1] - 7) < 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(spreading_gives_a_known_answer),
        cmocka_unit_test(spreading_moves_labels_as_little_as_possible),
        cmocka_unit_test(every_kind_of_sheet_keeps_its_labels_clear),
        cmocka_unit_test(labels_keep_clear_of_each_other_the_curve_and_the_frame),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
