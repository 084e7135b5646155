/* How the spectrum was recorded and exported. */
#include <math.h>
#include <string.h>

#include "remarks_checks.h"
#include "windows.h"

bool wp_check_resolution(const struct wp_facts *facts, struct wp_found *found)
{
    double wanted = facts->context->lab_resolution;
    double had = facts->spectrum->resolution;
    /* Points are at most as far apart as the resolution, so their distance stands in for it. */
    if (!(had > 0.0))
        had = facts->curve->step;
    if (!(wanted > 0.0) || had < wp_limit(WP_LIMIT_RESOLUTION) * wanted)
        return false;
    found->limit = WP_LIMIT_RESOLUTION;
    found->value = had;
    return true;
}

bool wp_check_scans(const struct wp_facts *facts, struct wp_found *found)
{
    int wanted = facts->context->lab_scans;
    int had = facts->spectrum->scans;
    if (wanted <= 0 || had <= 0 || (double)had >= wp_limit(WP_LIMIT_SCANS) * (double)wanted)
        return false;
    found->limit = WP_LIMIT_SCANS;
    found->count = had;
    return true;
}

bool wp_check_range(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_curve *curve = facts->curve;
    double slack = wp_limit(WP_LIMIT_RANGE);
    double lab_low = facts->context->lab_low;
    double lab_high = facts->context->lab_high;
    found->limit = WP_LIMIT_RANGE;
    if (lab_high > 0.0 && curve->x[curve->count - 1] < lab_high - slack) {
        found->position = curve->x[curve->count - 1];
        return true;
    }
    if (lab_low > 0.0 && curve->x[0] > lab_low + slack) {
        found->position = curve->x[0];
        return true;
    }
    return false;
}

bool wp_check_incomplete(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_spectrum *spectrum = facts->spectrum;
    if (!spectrum->stated)
        return false;
    found->limit = WP_LIMIT_INCOMPLETE;
    found->value = 100.0 * (double)spectrum->count / (double)spectrum->stated;
    return found->value < wp_limit(WP_LIMIT_INCOMPLETE);
}

bool wp_check_processed(const struct wp_facts *facts, struct wp_found *found)
{
    found->limit = WP_LIMIT_PROCESSED;
    return facts->spectrum->processed;
}

/* The file's own ordinate at a point, the way it points: up means more light if the unit is
 * right. */
static double light(const struct wp_curve *curve, size_t i)
{
    return curve->from_absorbance ? -curve->a[i] : curve->t[i];
}

static double light_between(const struct wp_curve *curve, double low, double high)
{
    size_t from = wp_curve_at(curve, low);
    size_t end = wp_curve_at(curve, high);
    double sum = 0.0;
    for (size_t i = from; i < end; i++)
        sum += light(curve, i);
    return end > from ? sum / (double)(end - from) : NAN;
}

#define LOOK_FROM 700.0     /* cm-1; below, plates nobody named may absorb */
#define UPRIGHT_WIDEST 60.0 /* cm-1; what stands up must be narrow to be a band */
#define UPRIGHT_SHARE 0.35  /* of the range */
#define UPRIGHT_BANDS 2
#define RANGE_LEAST 0.1 /* of the ordinate; less than this shows no bands either way */

/* Narrow stretches that stand out upwards. */
static size_t upright_bands(const struct wp_curve *curve, double least, double range)
{
    double level = least + UPRIGHT_SHARE * range;
    size_t found = 0;
    for (size_t i = wp_curve_at(curve, LOOK_FROM); i < curve->count; i++) {
        if (light(curve, i) < level)
            continue;
        size_t from = i;
        while (i + 1 < curve->count && light(curve, i + 1) >= level)
            i++;
        found += from > 0 && i + 1 < curve->count && i >= from + 2 &&
                 curve->x[i] - curve->x[from] < UPRIGHT_WIDEST;
    }
    return found;
}

/* No instrument reads absorbances like this; a table of transmittances does. */
#define ABSORBANCE_MOST 6.0

static bool exceeds_absorbance(const struct wp_spectrum *spectrum)
{
    size_t beyond = 0;
    if (spectrum->y_unit != WP_Y_ABSORBANCE)
        return false;
    for (size_t i = 0; i < spectrum->count; i++)
        beyond += spectrum->y[i] > ABSORBANCE_MOST;
    return 2 * beyond > spectrum->count;
}

/* Between the bands a spectrum is near its top; where it is near its bottom instead, and narrow
 * bands stand up from there, the unit is wrong. */
bool wp_check_upside_down(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_curve *curve = facts->curve;
    found->limit = WP_LIMIT_UPSIDE_DOWN;
    if (exceeds_absorbance(facts->spectrum))
        return true;
    double least = INFINITY;
    double most = -INFINITY;
    for (size_t i = wp_curve_at(curve, fmax(facts->low, LOOK_FROM)); i < curve->count; i++) {
        double v = light(curve, i);
        least = v < least ? v : least;
        most = v > most ? v : most;
    }
    double range = most - least;
    double one = light_between(curve, 1900.0, 2000.0);
    double two = light_between(curve, 2500.0, 2650.0);
    double quiet = fmax(one, two);
    double bottom = least + wp_limit(WP_LIMIT_UPSIDE_DOWN) * range;
    return range > RANGE_LEAST && quiet < bottom &&
           upright_bands(curve, least, range) >= UPRIGHT_BANDS;
}

static bool says_single_beam(const struct wp_spectrum *spectrum)
{
    const char *type = wp_spectrum_label(spectrum, "DATATYPE");
    const char *units = wp_spectrum_label(spectrum, "YUNITS");
    return (type && strcasestr(type, "single beam")) || (units && strcasestr(units, "single beam"));
}

/* The source is brightest in the middle and the air is in the beam: a hump with strong lines of
 * water and carbon dioxide. */
#define SINGLE_DIOXIDE 0.06
#define SINGLE_VAPOUR 0.03

bool wp_check_single_beam(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_curve *curve = facts->curve;
    found->limit = WP_LIMIT_SINGLE_BEAM;
    if (says_single_beam(facts->spectrum))
        return true;
    if (facts->dioxide < SINGLE_DIOXIDE || facts->vapour < SINGLE_VAPOUR)
        return false;
    double most = 0.0;
    for (int i = 10; i < 30; i++) {
        double here = wp_window_mean(curve, 100.0 * i, 100.0 * (i + 1));
        most = here > most ? here : most;
    }
    double far = wp_window_mean(curve, 3930.0, 3990.0);
    return far < wp_limit(WP_LIMIT_SINGLE_BEAM) * most;
}
