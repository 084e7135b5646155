/* sheet_bench.c - CPU time of one sheet against bare cairo with the same curve and words, turn by
 * turn in one process, so that the ratio travels between machines. Also writes the curve for the
 * other peer. usage: sheet_bench ROUNDS [CURVE.f64] */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "bare.h"
#include "fixture.h"

enum { POINTS = 3600, ROUNDS_MOST = 2000 };

static double cpu_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

static int by_value(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

static double median(double *values, size_t count)
{
    qsort(values, count, sizeof *values, by_value);
    return values[count / 2];
}

/* The usual sheet of the fixture with 3,600 points. */
static void spectrum_make(struct wp_spectrum *spectrum, const struct wp_spectrum *from)
{
    fixture_blank(spectrum, WP_INFRARED, WP_X_CM1, WP_Y_PERCENT, 4000, 400, POINTS);
    for (size_t i = 0; i < POINTS; i++) {
        double at = (double)i / (POINTS - 1) * (double)(from->count - 1);
        size_t k = (size_t)at < from->count - 1 ? (size_t)at : from->count - 2;
        double part = at - (double)k;
        spectrum->y[i] = from->y[k] * (1 - part) + from->y[k + 1] * part;
    }
}

static void curve_write(const struct wp_spectrum *spectrum, const char *path)
{
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(spectrum->y, sizeof *spectrum->y, spectrum->count, file) != spectrum->count)
        fprintf(stderr, "%s cannot be written\n", path);
    if (file)
        fclose(file);
}

struct bench {
    struct wp_sheet_fonts *fonts;
    struct wp_sheet_input input;
    struct bare_page bare;
    double ours[ROUNDS_MOST];
    double floor[ROUNDS_MOST];
    size_t our_size, floor_size;
};

static void measure(struct bench *bench, size_t rounds)
{
    for (size_t i = 0; i < rounds + 5; i++) {
        struct wp_bytes bytes;
        wp_bytes_init(&bytes, 4 << 20);
        double start = cpu_ms();
        if (wp_sheet_render(bench->fonts, &bench->input, WP_SHEET_PDF, &bytes, NULL))
            abort();
        double middle = cpu_ms();
        bench->floor_size = bare_draw(&bench->bare);
        double end = cpu_ms();
        /* The first rounds fill the caches of fonts. */
        if (i >= 5) {
            bench->ours[i - 5] = middle - start;
            bench->floor[i - 5] = end - middle;
        }
        bench->our_size = bytes.size;
        wp_bytes_release(&bytes);
    }
}

int main(int argc, char **argv)
{
    size_t rounds = argc > 1 ? strtoul(argv[1], NULL, 10) : 200;
    if (!rounds || rounds > ROUNDS_MOST)
        return 2;
    static struct bench bench;
    bench.fonts = fixture_fonts();
    struct fixture_kind *kind = fixture_kind_new(0);
    static struct wp_spectrum spectrum;
    spectrum_make(&spectrum, kind->input.spectrum);
    if (argc > 2)
        curve_write(&spectrum, argv[2]);
    bench.input = kind->input;
    bench.input.spectrum = &spectrum;
    struct sheet_painter *painter = sheet_painter_borrow(bench.fonts);
    static struct sheet_plan plan;
    if (sheet_plan_make(&plan, &bench.input, painter, NULL))
        return 1;
    sheet_painter_return(bench.fonts, painter);
    static double y[POINTS];
    for (size_t i = 0; i < plan.traces[0].count && i < POINTS; i++)
        y[i] = sheet_y_at(&plan.y, plan.traces[0].v[i]);
    bench.bare.x = plan.traces[0].x;
    bench.bare.y = y;
    bench.bare.count = plan.traces[0].count;
    bare_collect(&bench.bare, &plan);
    measure(&bench, rounds);
    double ours = median(bench.ours, rounds);
    double bare = median(bench.floor, rounds);
    printf("sheet %.2f ms %zu bytes\nbare_cairo %.2f ms %zu bytes\nsheet_to_bare_cairo %.2f\n",
           ours, bench.our_size, bare, bench.floor_size, ours / bare);
    sheet_plan_release(&plan);
    wp_spectrum_release(&spectrum);
    fixture_kind_free(kind);
    wp_sheet_fonts_free(bench.fonts);
    return 0;
}
