/* Times the computing half on the spectra given on standard input: u32 spectra, u32 points, then
 * for each its abscissae and its %T, as little-endian doubles. Prints "name microseconds" lines:
 * processor time for a spectrum, the best of several rounds. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "spectrum/likeness.h"
#include "spectrum/remarks.h"

#define ROUNDS 7
#define ROUND_SECONDS 0.15
#define CANDIDATES 50

struct work {
    size_t count;
    struct wp_spectrum *spectra;
    struct wp_curve *curves;
    struct wp_print *prints;
    struct wp_context context;
    size_t sum; /* of what was found, so that nothing can be left out */
};

typedef void step(struct work *work, size_t i);

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void make_curve(struct work *work, size_t i)
{
    struct wp_curve curve;
    wp_curve_make(&work->spectra[i], &curve, NULL);
    work->sum += curve.count;
    wp_curve_release(&curve);
}

static void find_bands(struct work *work, size_t i)
{
    struct wp_band bands[WP_BANDS_MOST];
    work->sum += wp_bands_find(&work->curves[i], NULL, bands, NULL);
}

static void examine(struct work *work, size_t i)
{
    struct wp_examination e;
    wp_examine(&work->spectra[i], &work->curves[i], &work->context, &e);
    work->sum += e.band_count + e.remark_count;
}

static void make_print(struct work *work, size_t i)
{
    struct wp_print print;
    wp_print_make(&work->curves[i], &print);
    work->sum += print.bytes[4];
}

static void compare(struct work *work, size_t i)
{
    for (size_t k = 0; k < CANDIDATES; k++)
        work->sum += wp_print_compare(&work->prints[i], &work->prints[(i + k) % work->count]);
}

static void compare_alike(struct work *work, size_t i)
{
    for (size_t k = 0; k < CANDIDATES; k++)
        work->sum += wp_print_compare(&work->prints[i], &work->prints[i]);
}

static void everything(struct work *work, size_t i)
{
    examine(work, i);
    make_print(work, i);
    compare(work, i);
}

static void with_curve(struct work *work, size_t i)
{
    make_curve(work, i);
    everything(work, i);
}

static void measure(const char *name, struct work *work, step *take)
{
    double best = INFINITY;
    for (int round = 0; round < ROUNDS; round++) {
        double start = now();
        double spent;
        size_t done = 0;
        do {
            for (size_t i = 0; i < work->count; i++)
                take(work, i);
            done += work->count;
            spent = now() - start;
        } while (spent < ROUND_SECONDS);
        best = fmin(best, spent / (double)done);
    }
    printf("%s %.2f\n", name, 1e6 * best);
}

static int load(struct work *work)
{
    uint32_t head[2];
    if (fread(head, sizeof head, 1, stdin) != 1 || head[0] == 0 || head[0] > 4096 ||
        head[1] > 1u << 24)
        return 1;
    work->count = head[0];
    work->spectra = calloc(work->count, sizeof *work->spectra);
    work->curves = calloc(work->count, sizeof *work->curves);
    work->prints = calloc(work->count, sizeof *work->prints);
    if (!work->spectra || !work->curves || !work->prints)
        return 1;
    for (size_t i = 0; i < work->count; i++) {
        struct wp_spectrum *s = &work->spectra[i];
        s->technique = WP_INFRARED;
        s->y_unit = WP_Y_PERCENT;
        s->resolution = 4.0;
        s->count = head[1];
        s->x = calloc(2 * (size_t)head[1], sizeof *s->x);
        if (!s->x || fread(s->x, sizeof *s->x, 2 * (size_t)head[1], stdin) != 2 * (size_t)head[1])
            return 1;
        s->y = s->x + head[1];
        if (wp_curve_make(s, &work->curves[i], NULL) ||
            wp_print_make(&work->curves[i], &work->prints[i]))
            return 1;
    }
    return 0;
}

int main(void)
{
    struct work work = {.context = {.preparation = WP_PREP_LIQUID_FILM, .plates = WP_PLATES_KBR}};
    if (load(&work)) {
        fprintf(stderr, "bench_bands: no spectra on standard input\n");
        return 1;
    }
    measure("curve", &work, make_curve);
    measure("bands", &work, find_bands);
    measure("examine", &work, examine);
    measure("print", &work, make_print);
    measure("compare_50", &work, compare);
    measure("compare_50_alike", &work, compare_alike);
    measure("everything", &work, everything);
    measure("everything_and_curve", &work, with_curve);
    return work.sum == 0;
}
