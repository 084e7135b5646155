#include "spectrum/bands.h"

#include <math.h>
#include <stdlib.h>

#include "bands_air.h"
#include "bands_find.h"
#include "bands_shape.h"

/* A band's depth must stand out of the noise by this many of its standard deviations: the highest
 * of 3,600 points of pure noise stands about 7 above the lowest beside it. */
#define NOISE_TIMES 8.0
/* What a reader of the plot would not call a band: less than this depth (transmittance), and less
 * than this share of the deepest or most prominent band. Common practice, no source. */
#define DEPTH_LEAST 0.004
#define DEPTH_SHARE 0.02
#define PROMINENCE_SHARE 0.008
/* Wider than any band: the baseline's own hump. */
#define WIDEST 900.0
/* Ripples of a thin gap are no bands: a band must be deeper than they are. */
#define RIPPLE_TIMES 1.3
/* Strong and medium begin at these shares of the strongest band's depth; common practice. */
#define STRONG_SHARE 0.66
#define MEDIUM_SHARE 0.33

struct finding {
    const struct wp_curve *curve;
    struct wp_levels levels;
    double *dark; /* what peaks are looked for in: rises where the curve absorbs */
    struct wp_peak *peaks;
    struct wp_top *tops;
};

const char *wp_strength_text(enum wp_strength strength)
{
    static const char *const texts[] = {"s", "m", "w"};
    return (unsigned)strength <= WP_WEAK ? texts[strength] : "";
}

const char *wp_shape_text(enum wp_shape shape)
{
    return shape == WP_BROAD ? "broad" : "sharp";
}

static enum wp_status prepare(struct finding *finding)
{
    size_t count = finding->curve->count;
    size_t room = wp_peaks_room(count);
    finding->dark = malloc(count * sizeof *finding->dark + room * sizeof *finding->tops +
                           room * sizeof *finding->peaks);
    if (!finding->dark)
        return WP_NO_MEMORY;
    finding->tops = (struct wp_top *)(finding->dark + count);
    finding->peaks = (struct wp_peak *)(finding->tops + room);
    return WP_OK;
}

/* The least depth, as transmittance, that neither noise nor ripples explain. */
static double least_depth(const struct wp_levels *levels)
{
    double least = fmax(NOISE_TIMES * levels->noise, RIPPLE_TIMES * levels->ripple);
    return fmax(least, DEPTH_LEAST);
}

/* Noise is even in transmittance, so that is where a peak must stand out of it; a logarithm changes
 * neither which points are peaks nor which valleys bound them, so height and prominence carry over
 * to absorbance afterwards. */
static size_t find_above_noise(struct finding *finding)
{
    const double *t = finding->curve->t;
    double flat = finding->levels.flat_t;
    for (size_t i = 0; i < finding->curve->count; i++)
        finding->dark[i] = t[i] > flat ? -t[i] : -flat;
    return wp_peaks_find(finding->dark, finding->curve->count, least_depth(&finding->levels),
                         finding->peaks, finding->tops);
}

static size_t find_above(struct finding *finding, double least)
{
    const double *a = finding->curve->a;
    double flat = finding->levels.flat_a;
    for (size_t i = 0; i < finding->curve->count; i++)
        finding->dark[i] = a[i] < flat ? a[i] : flat;
    return wp_peaks_find(finding->dark, finding->curve->count, least, finding->peaks,
                         finding->tops);
}

static double place_of(const struct finding *finding, const struct wp_peak *peak)
{
    return finding->curve->x[peak->first + (peak->last - peak->first) / 2];
}

static size_t drop_below_cut_off(const struct finding *finding, size_t count, double cut_off)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (place_of(finding, &finding->peaks[i]) >= cut_off)
            finding->peaks[kept++] = finding->peaks[i];
    return kept;
}

/* Drops what is too shallow beside the deepest, and turns what is left into absorbance. */
static size_t drop_shallow(struct finding *finding, size_t count)
{
    struct wp_peak *peaks = finding->peaks;
    double deepest = 0.0;
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        deepest = peaks[i].prominence > deepest ? peaks[i].prominence : deepest;
    for (size_t i = 0; i < count; i++) {
        if (peaks[i].prominence < DEPTH_SHARE * deepest)
            continue;
        double bottom = -peaks[i].height;
        peaks[kept] = peaks[i];
        peaks[kept].height = -M_LOG10E * log(bottom);
        peaks[kept].prominence = M_LOG10E * log((bottom + peaks[i].prominence) / bottom);
        kept++;
    }
    return kept;
}

static size_t drop_slight(struct finding *finding, size_t count)
{
    struct wp_peak *peaks = finding->peaks;
    double most = 0.0;
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        most = peaks[i].prominence > most ? peaks[i].prominence : most;
    for (size_t i = 0; i < count; i++)
        if (peaks[i].prominence >= PROMINENCE_SHARE * most)
            peaks[kept++] = peaks[i];
    return kept;
}

static size_t find(struct finding *finding, const struct wp_band_options *options)
{
    if (options->least_prominence > 0.0)
        return drop_below_cut_off(finding, find_above(finding, options->least_prominence),
                                  options->cut_off);
    size_t count = drop_below_cut_off(finding, find_above_noise(finding), options->cut_off);
    return drop_slight(finding, drop_shallow(finding, count));
}

static int by_prominence(const void *left, const void *right)
{
    const struct wp_peak *a = left;
    const struct wp_peak *b = right;
    return (a->prominence < b->prominence) - (a->prominence > b->prominence);
}

static int by_falling_place(const void *left, const void *right)
{
    const struct wp_peak *a = left;
    const struct wp_peak *b = right;
    return (a->first < b->first) - (a->first > b->first);
}

static size_t describe(const struct finding *finding, size_t count, bool any_width,
                       struct wp_band *bands)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        wp_band_describe(finding->curve, &finding->levels, &finding->peaks[i], &bands[kept]);
        kept += any_width || bands[kept].width <= WIDEST;
    }
    return kept;
}

/* By depth below the local baseline on a transmittance scale, as the eye takes it off a plot. */
static void grade(const struct wp_baseline *baseline, struct wp_band *bands, size_t count)
{
    double depths[WP_BANDS_MOST];
    double deepest = 0.0;
    for (size_t i = 0; i < count; i++) {
        double above = bands[i].absorbance - wp_baseline_at(baseline, bands[i].position);
        depths[i] = 1.0 - exp(-M_LN10 * above);
        if (!bands[i].air && depths[i] > deepest)
            deepest = depths[i];
    }
    for (size_t i = 0; i < count; i++)
        bands[i].strength = depths[i] >= STRONG_SHARE * deepest   ? WP_STRONG
                            : depths[i] >= MEDIUM_SHARE * deepest ? WP_MEDIUM
                                                                  : WP_WEAK;
}

size_t wp_bands_find_with(const struct wp_curve *curve, const struct wp_levels *levels,
                          const struct wp_baseline *baseline, const struct wp_band_options *options,
                          struct wp_band bands[WP_BANDS_MOST], enum wp_status *status)
{
    struct finding finding = {.curve = curve, .levels = *levels};
    *status = prepare(&finding);
    if (*status)
        return 0;
    size_t count = find(&finding, options);
    size_t most =
        options->most > 0 && options->most < WP_BANDS_MOST ? options->most : WP_BANDS_MOST;
    if (count > most) {
        qsort(finding.peaks, count, sizeof *finding.peaks, by_prominence);
        count = most;
    }
    qsort(finding.peaks, count, sizeof *finding.peaks, by_falling_place);
    count = describe(&finding, count, options->least_prominence > 0.0, bands);
    free(finding.dark);
    wp_bands_mark_air(bands, count);
    grade(baseline, bands, count);
    return count;
}

size_t wp_bands_find(const struct wp_curve *curve, const struct wp_band_options *options,
                     struct wp_band bands[WP_BANDS_MOST], enum wp_status *status)
{
    static const struct wp_band_options plain;
    struct wp_levels levels;
    struct wp_baseline baseline;
    enum wp_status outcome;
    wp_levels_find(curve, &levels);
    wp_baseline_make(curve, &baseline);
    size_t count =
        wp_bands_find_with(curve, &levels, &baseline, options ? options : &plain, bands, &outcome);
    if (status)
        *status = outcome;
    return count;
}
