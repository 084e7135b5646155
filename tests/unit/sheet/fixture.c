#include "fixture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "spectrum/curve.h"

/* Pango 1.50 keeps a reference to the configuration of every font map. Programs load their fonts
 * once; these tests do so many times, and only that is let pass here. */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:FcConfigCreate\n";
}

double fixture_uniform(struct fixture_random *random, double low, double high)
{
    random->state ^= random->state >> 12;
    random->state ^= random->state << 25;
    random->state ^= random->state >> 27;
    uint64_t bits = (random->state * UINT64_C(2685821657736338717)) >> 11;
    return low + (high - low) * (double)bits / 9007199254740992.0;
}

size_t fixture_below(struct fixture_random *random, size_t limit)
{
    size_t value = (size_t)fixture_uniform(random, 0, (double)limit);
    return value < limit ? value : limit - 1;
}

static void *take(size_t count)
{
    void *memory = calloc(count ? count : 1, sizeof(double));
    if (!memory)
        abort();
    return memory;
}

static void prepare(struct wp_spectrum *spectrum, size_t count)
{
    memset(spectrum, 0, sizeof *spectrum);
    spectrum->title = strdup("fixture");
    spectrum->count = count;
    spectrum->x = take(count);
    spectrum->y = take(count);
    spectrum->resolution = NAN;
    spectrum->block = 1;
}

static double absorbance_at(double x, const struct fixture_band *bands, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++) {
        double d = (x - bands[i].position) / (bands[i].width / 2);
        sum += bands[i].height / (1 + d * d);
    }
    return sum;
}

void fixture_infrared(struct wp_spectrum *spectrum, const struct fixture_band *bands, size_t count,
                      const struct fixture_shape *shape)
{
    prepare(spectrum, shape->count);
    spectrum->technique = WP_INFRARED;
    spectrum->x_unit = WP_X_CM1;
    spectrum->y_unit = WP_Y_PERCENT;
    struct fixture_random random = {shape->seed ? shape->seed : 1};
    for (size_t i = 0; i < shape->count; i++) {
        double part = (double)i / (double)(shape->count - 1);
        double x = shape->first + (shape->last - shape->first) * part;
        double a = shape->scale * absorbance_at(x, bands, count);
        double slope = 1 - 0.02 * sin(x / 900);
        spectrum->x[i] = x;
        spectrum->y[i] =
            shape->base * slope * pow(10, -a) + shape->noise * fixture_uniform(&random, -0.5, 0.5);
    }
}

void fixture_blank(struct wp_spectrum *spectrum, enum wp_technique technique, enum wp_x_unit x_unit,
                   enum wp_y_unit y_unit, double first, double last, size_t count)
{
    prepare(spectrum, count);
    spectrum->technique = technique;
    spectrum->x_unit = x_unit;
    spectrum->y_unit = y_unit;
    for (size_t i = 0; i < count; i++)
        spectrum->x[i] = first + (last - first) * (double)i / (double)(count - 1);
}

void fixture_examine(const struct wp_spectrum *spectrum, double cut_off, bool air,
                     struct wp_examination *examination)
{
    memset(examination, 0, sizeof *examination);
    examination->cut_off = cut_off;
    examination->air_mark = air;
    struct wp_curve curve;
    if (wp_curve_make(spectrum, &curve, NULL))
        return;
    struct wp_band_options options = {.cut_off = cut_off};
    examination->band_count = wp_bands_find(&curve, &options, examination->bands, NULL);
    for (size_t i = 0; i < examination->band_count; i++)
        if (examination->bands[i].transmittance < 0.01)
            examination->bands[i].saturated = true;
    wp_curve_release(&curve);
}

static double percent_at(const struct wp_spectrum *spectrum, double position)
{
    size_t nearest = 0;
    for (size_t i = 1; i < spectrum->count; i++)
        if (fabs(spectrum->x[i] - position) < fabs(spectrum->x[nearest] - position))
            nearest = i;
    return spectrum->y[nearest];
}

void fixture_describe(const struct wp_spectrum *spectrum, const struct fixture_band *bands,
                      size_t count, double cut_off, bool air, struct wp_examination *examination)
{
    memset(examination, 0, sizeof *examination);
    examination->cut_off = cut_off;
    examination->air_mark = air;
    for (size_t i = 0; i < count && i < WP_BANDS_MOST; i++) {
        if (bands[i].position < cut_off)
            continue;
        double height = bands[i].height;
        examination->bands[examination->band_count++] =
            (struct wp_band){.position = bands[i].position,
                             .prominence = height,
                             .width = bands[i].width,
                             .strength = height > 0.4    ? WP_STRONG
                                         : height > 0.15 ? WP_MEDIUM
                                                         : WP_WEAK,
                             .shape = bands[i].width > 60 ? WP_BROAD : WP_SHARP,
                             .saturated = percent_at(spectrum, bands[i].position) < 1,
                             .air = bands[i].position > 2280 && bands[i].position < 2400};
    }
}

struct wp_sheet_fonts *fixture_fonts(void)
{
    struct wp_sheet_fonts *fonts = NULL;
    struct wp_error error = {WP_OK, 0, 0, ""};
    if (wp_sheet_fonts_new(NULL, &fonts, &error)) {
        fprintf(stderr, "fonts: %s\n", error.text);
        abort();
    }
    return fonts;
}
