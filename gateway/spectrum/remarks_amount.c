/* Too much sample, too little, or none. */
#include <math.h>

#include "remarks_checks.h"
#include "windows.h"

/* Where paraffin oil absorbs, cm-1: about the bands of n-octane (Myers et al. 2018). */
bool wp_is_oil(double wavenumber)
{
    return (wavenumber > 2820.0 && wavenumber < 2990.0) ||
           (wavenumber > 1440.0 && wavenumber < 1480.0) ||
           (wavenumber > 1365.0 && wavenumber < 1390.0) ||
           (wavenumber > 717.0 && wavenumber < 727.0);
}

static bool in_oil(const struct wp_facts *facts, double wavenumber)
{
    return facts->context->preparation == WP_PREP_MULL && wp_is_oil(wavenumber);
}

double wp_band_height(const struct wp_facts *facts, const struct wp_band *band)
{
    return band->absorbance - wp_baseline_at(&facts->baseline, band->position);
}

const struct wp_band *wp_strongest(const struct wp_facts *facts)
{
    const struct wp_band *strongest = NULL;
    for (size_t i = 0; i < facts->band_count; i++) {
        const struct wp_band *band = &facts->bands[i];
        if (band->air || in_oil(facts, band->position))
            continue;
        if (!strongest || wp_band_height(facts, band) > wp_band_height(facts, strongest))
            strongest = band;
    }
    return strongest;
}

static void add_flat(const struct wp_curve *curve, size_t from, size_t to, struct wp_flats *flats)
{
    double width = curve->x[to] - curve->x[from];
    flats->count++;
    flats->width += width;
    if (width > flats->widest) {
        flats->widest = width;
        flats->position = 0.5 * (curve->x[from] + curve->x[to]);
    }
}

/* Runs of opaque points. One that reaches an end of the curve is where the plates absorb. */
static void count_flats(const struct wp_facts *facts, struct wp_flats *flats)
{
    const struct wp_curve *curve = facts->curve;
    double width = wp_limit(WP_LIMIT_FLAT_WIDTH);
    *flats = (struct wp_flats){0};
    for (size_t i = wp_curve_at(curve, facts->low); i < curve->count; i++) {
        if (curve->t[i] >= facts->levels.flat_t)
            continue;
        size_t from = i;
        while (i + 1 < curve->count && curve->t[i + 1] < facts->levels.flat_t)
            i++;
        double middle = 0.5 * (curve->x[from] + curve->x[i]);
        bool counts = from > 0 && i + 1 < curve->count && curve->x[i] - curve->x[from] >= width;
        if (counts && !in_oil(facts, middle))
            add_flat(curve, from, i, flats);
    }
}

bool wp_check_too_strong(const struct wp_facts *facts, struct wp_found *found)
{
    struct wp_flats flats;
    count_flats(facts, &flats);
    double count = (double)flats.count;
    if (count < wp_limit(WP_LIMIT_STRONG_NOTE_BANDS))
        return false;
    found->limit = WP_LIMIT_STRONG_NOTE_BANDS;
    if (count >= wp_limit(WP_LIMIT_STRONG_ADVISE_BANDS) ||
        flats.width >= wp_limit(WP_LIMIT_STRONG_ADVISE_WIDTH))
        found->limit = WP_LIMIT_STRONG_ADVISE_BANDS;
    if (count >= wp_limit(WP_LIMIT_STRONG_AGAIN_BANDS) ||
        flats.width >= wp_limit(WP_LIMIT_STRONG_AGAIN_WIDTH))
        found->limit = WP_LIMIT_STRONG_AGAIN_BANDS;
    found->count = (long)flats.count;
    found->position = flats.position;
    return true;
}

static bool is_film(const struct wp_facts *facts)
{
    enum wp_preparation preparation = facts->context->preparation;
    return preparation == WP_PREP_UNKNOWN || preparation == WP_PREP_LIQUID_FILM ||
           preparation == WP_PREP_CAST_FILM || preparation == WP_PREP_MULL ||
           preparation == WP_PREP_PELLET;
}

/* Least height for a band to be one of the sample's. */
static enum wp_limit nothing_limit(const struct wp_facts *facts)
{
    return facts->context->preparation == WP_PREP_ATR ? WP_LIMIT_NOTHING_ATR
                                                      : WP_LIMIT_NOTHING_BAND;
}

bool wp_check_too_weak(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_band *strongest = wp_strongest(facts);
    if (!strongest)
        return false; /* nothing at all: another remark */
    double height = wp_band_height(facts, strongest);
    if (height <= wp_limit(nothing_limit(facts)))
        return false;
    double taken = 100.0 * (1.0 - exp(-M_LN10 * height));
    if (facts->context->preparation == WP_PREP_ATR) {
        if (height >= wp_limit(WP_LIMIT_WEAK_ATR))
            return false;
        found->limit = WP_LIMIT_WEAK_ATR;
    } else {
        /* Gases, solutions and the unusual may be weak on purpose: a note at most. */
        double note = wp_limit(is_film(facts) ? WP_LIMIT_WEAK_NOTE : WP_LIMIT_WEAK_AGAIN);
        if (taken >= note)
            return false;
        bool again = is_film(facts) && taken < wp_limit(WP_LIMIT_WEAK_AGAIN);
        found->limit = again ? WP_LIMIT_WEAK_AGAIN : WP_LIMIT_WEAK_NOTE;
    }
    found->value = taken;
    found->position = strongest->position;
    return true;
}

/* Share of the points above a transmittance. */
static bool is_below_everywhere(const struct wp_facts *facts, double level)
{
    const struct wp_curve *curve = facts->curve;
    size_t above = 0;
    size_t from = wp_curve_at(curve, facts->low);
    for (size_t i = from; i < curve->count; i++)
        above += curve->t[i] >= level;
    return above * 200 < curve->count - from; /* a spike or two may stand out */
}

static bool oil_is_seen(const struct wp_facts *facts)
{
    for (size_t i = 0; i < facts->band_count; i++)
        if (in_oil(facts, facts->bands[i].position) &&
            wp_band_height(facts, &facts->bands[i]) > wp_limit(WP_LIMIT_NOTHING_BAND))
            return true;
    return false;
}

static enum wp_limit kind_of_nothing(const struct wp_facts *facts, double level)
{
    if (oil_is_seen(facts))
        return WP_LIMIT_NOTHING_OIL;
    if (facts->context->preparation == WP_PREP_ATR)
        return WP_LIMIT_NOTHING_ATR;
    if (level >= wp_limit(WP_LIMIT_EMPTY_LOW) && facts->levels.ripple == 0.0)
        return WP_LIMIT_EMPTY_LOW; /* ripples need two faces, so plates */
    return level >= wp_limit(WP_LIMIT_PLATES_LOW) ? WP_LIMIT_PLATES_LOW : WP_LIMIT_NOTHING_BAND;
}

bool wp_check_no_sample(const struct wp_facts *facts, struct wp_found *found)
{
    double blocked = wp_limit(WP_LIMIT_BLOCKED);
    if (is_below_everywhere(facts, blocked / 100.0)) {
        found->limit = WP_LIMIT_BLOCKED;
        found->value = blocked;
        return true;
    }
    const struct wp_band *strongest = wp_strongest(facts);
    if (strongest && wp_band_height(facts, strongest) > wp_limit(nothing_limit(facts)))
        return false;
    double level = 100.0 * facts->baseline_t;
    if (isnan(level))
        level = 100.0 * wp_window_mean(facts->curve, facts->low, facts->high);
    found->limit = kind_of_nothing(facts, level);
    found->value = level;
    return true;
}
