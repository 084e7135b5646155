/* What should not be in the sample: water, solvent, grease. */
#include <math.h>
#include <string.h>
#include <strings.h>

#include "remarks_checks.h"

static double highest_above(const struct wp_facts *facts, double low, double high)
{
    const struct wp_curve *curve = facts->curve;
    double most = 0.0;
    size_t end = wp_curve_at(curve, high);
    for (size_t i = wp_curve_at(curve, low); i < end; i++) {
        double above = curve->a[i] - wp_baseline_at(&facts->baseline, curve->x[i]);
        most = above > most ? above : most;
    }
    return most;
}

bool wp_check_wet(const struct wp_facts *facts, struct wp_found *found)
{
    if (facts->context->product_has_oh)
        return false;
    for (size_t i = 0; i < facts->band_count; i++) {
        const struct wp_band *band = &facts->bands[i];
        if (band->air || band->position < wp_limit(WP_LIMIT_WET_LOW) ||
            band->position > wp_limit(WP_LIMIT_WET_HIGH) ||
            band->prominence < wp_limit(WP_LIMIT_WET_PROMINENCE) ||
            band->width < wp_limit(WP_LIMIT_WET_WIDTH))
            continue;
        if (highest_above(facts, 3200.0, 3550.0) < wp_limit(WP_LIMIT_WET_OH))
            return false;
        found->limit = WP_LIMIT_WET_PROMINENCE;
        found->position = band->position;
        return true;
    }
    return false;
}

#define MAIN_BANDS 4

struct solvent {
    const char *name;
    size_t count;
    struct {
        double position;
        double height; /* relative to the first */
    } bands[MAIN_BANDS];
};

/* Main bands of liquids, the narrow ones. Ethanol: Myers et al. 2018. Acetone: positions from the
 * PNNL liquid data (DOI 10.25584/2997107). The others, and acetone's heights: values from memory,
 * hence "low" confidence and to staff only. */
static const struct solvent solvents[] = {
    {"acetone", 3, {{1715.4, 1.0}, {1363.0, 0.50}, {1222.2, 0.50}}},
    {"dichloromethane", 2, {{738.0, 1.0}, {1265.0, 0.40}}},
    {"ethyl acetate", 3, {{1241.0, 1.0}, {1743.0, 0.90}, {1047.0, 0.45}}},
    {"ethanol", 3, {{1050.3, 1.0}, {1090.4, 0.54}, {881.2, 0.31}}},
};
#define SOLVENTS (sizeof solvents / sizeof solvents[0])
/* A band is the solvent's if it lies this near, cm-1. */
#define SOLVENT_NEAR 4.0

static const struct wp_band *band_near(const struct wp_facts *facts, double position, double near)
{
    const struct wp_band *best = NULL;
    for (size_t i = 0; i < facts->band_count; i++) {
        double off = fabs(facts->bands[i].position - position);
        if (off <= near && (!best || off < fabs(best->position - position)))
            best = &facts->bands[i];
    }
    return best;
}

static bool is_left(const struct wp_facts *facts, const struct solvent *solvent, double strongest)
{
    double ratio = wp_limit(WP_LIMIT_SOLVENT_RATIO) / 100.0;
    double first = 0.0;
    for (size_t i = 0; i < solvent->count; i++) {
        const struct wp_band *band = band_near(facts, solvent->bands[i].position, SOLVENT_NEAR);
        if (!band || band->width >= wp_limit(WP_LIMIT_SOLVENT_WIDTH))
            return false;
        double height = wp_band_height(facts, band);
        if (i == 0)
            first = height;
        double expected = first * solvent->bands[i].height;
        if (fabs(height - expected) > ratio * expected)
            return false;
    }
    /* Bands as strong as the strongest are the sample itself. */
    return first >= wp_limit(WP_LIMIT_SOLVENT_SHARE) / 100.0 * strongest && first < strongest;
}

bool wp_check_solvent(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_context *context = facts->context;
    const struct wp_band *strongest = wp_strongest(facts);
    if (!context->staff || !strongest)
        return false;
    size_t listed =
        context->solvent_count < WP_SOLVENTS_MOST ? context->solvent_count : WP_SOLVENTS_MOST;
    for (size_t i = 0; i < listed; i++) {
        for (size_t k = 0; k < SOLVENTS; k++) {
            if (!context->solvents[i] || strcasecmp(context->solvents[i], solvents[k].name) != 0 ||
                !is_left(facts, &solvents[k], wp_band_height(facts, strongest)))
                continue;
            found->limit = WP_LIMIT_SOLVENT_RATIO;
            found->name = solvents[k].name;
            found->position = solvents[k].bands[0].position;
            return true;
        }
    }
    return false;
}

/* Silicone fluid: Querry 1987 (CC0 tabulation), 5 cm-1 grid. The two in the middle are broad and
 * move when the sample absorbs beside them. */
static const struct {
    double position;
    double near;
    double widest;
} grease[] = {
    {1262.5, 4.0, 26.0}, {802.5, 4.0, 50.0}, {1095.2, 14.0, 200.0}, {1025.2, 10.0, 200.0}};
#define GREASE_BANDS (sizeof grease / sizeof grease[0])

bool wp_check_grease(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_band *strongest = wp_strongest(facts);
    for (size_t i = 0; i < GREASE_BANDS; i++) {
        const struct wp_band *band = band_near(facts, grease[i].position, grease[i].near);
        if (!band || band->width > grease[i].widest ||
            wp_band_height(facts, band) < wp_limit(WP_LIMIT_GREASE))
            return false;
        if (band == strongest)
            return false; /* the sample itself is a silicone */
    }
    found->limit = WP_LIMIT_GREASE;
    found->position = grease[0].position;
    return true;
}
