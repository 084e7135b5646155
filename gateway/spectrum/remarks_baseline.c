/* The level, the slope, the noise and the ripple of what lies between the bands. */
#include <math.h>

#include "remarks_checks.h"
#include "windows.h"

bool wp_check_baseline(const struct wp_facts *facts, struct wp_found *found)
{
    double level = 100.0 * facts->baseline_t;
    if (!(level < wp_limit(WP_LIMIT_BASELINE_NOTE)))
        return false;
    found->limit = level < wp_limit(WP_LIMIT_BASELINE_AGAIN)    ? WP_LIMIT_BASELINE_AGAIN
                   : level < wp_limit(WP_LIMIT_BASELINE_ADVISE) ? WP_LIMIT_BASELINE_ADVISE
                                                                : WP_LIMIT_BASELINE_NOTE;
    found->value = level;
    return true;
}

/* Where air may lift the curve above 100 %T after a change since the background, cm-1. */
static bool in_air(double x)
{
    return (x > 2280.0 && x < 2400.0) || (x > 655.0 && x < 680.0) || (x > 1320.0 && x < 1950.0) ||
           x > 3500.0;
}

static bool in_dioxide(double x)
{
    return (x > 2280.0 && x < 2400.0) || (x > 655.0 && x < 680.0);
}

/* The detector sees little light at the ends, and noise there proves nothing. */
#define EDGE 40.0
#define MEAN_OVER 5

bool wp_check_over(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_curve *curve = facts->curve;
    double most = 0.0;
    double sum = 0.0;
    size_t from = wp_curve_at(curve, facts->low + EDGE);
    size_t end = wp_curve_at(curve, facts->high - EDGE);
    for (size_t i = from; i < end; i++) {
        sum += curve->t[i];
        if (i < from + MEAN_OVER)
            continue;
        sum -= curve->t[i - MEAN_OVER];
        if (sum > most && !in_dioxide(curve->x[i])) {
            most = sum;
            found->position = curve->x[i - MEAN_OVER / 2];
        }
    }
    found->limit = WP_LIMIT_OVER;
    found->value = 100.0 * most / MEAN_OVER;
    return found->value > wp_limit(WP_LIMIT_OVER);
}

#define LEVEL_BINS 256
#define LEVEL_TOP 1.6

/* The transmittance that 95 % of the points do not exceed: the level between the bands, which a
 * band that points up must rise above. */
static double upper_level(const struct wp_curve *curve, size_t from, size_t end)
{
    size_t bins[LEVEL_BINS] = {0};
    for (size_t i = from; i < end; i++) {
        double place = curve->t[i] * (LEVEL_BINS / LEVEL_TOP);
        bins[place < 0.0 ? 0 : place >= LEVEL_BINS - 1 ? LEVEL_BINS - 1 : (size_t)place]++;
    }
    size_t above = 0;
    size_t bin = LEVEL_BINS;
    while (bin > 0 && (above + bins[bin - 1]) * 20 <= end - from)
        above += bins[--bin];
    return (double)bin * LEVEL_TOP / LEVEL_BINS;
}

/* Broader than this it is the baseline that rises, cm-1. */
#define UPWARD_WIDEST 60.0

bool wp_check_upward(const struct wp_facts *facts, struct wp_found *found)
{
    const struct wp_curve *curve = facts->curve;
    size_t from = wp_curve_at(curve, facts->low + EDGE);
    size_t end = wp_curve_at(curve, facts->high - EDGE);
    double rise = wp_limit(WP_LIMIT_UPWARD) / 100.0 + 4.0 * facts->levels.noise;
    double level = upper_level(curve, from, end);
    for (size_t i = from; i < end; i++) {
        if (curve->t[i] < level + rise || in_air(curve->x[i]))
            continue;
        size_t top = i;
        size_t first = i;
        size_t last = i;
        while (first > from && curve->t[first - 1] > level + 0.4 * rise)
            first--;
        while (last + 1 < end && curve->t[last + 1] > level + 0.4 * rise) {
            last++;
            top = curve->t[last] > curve->t[top] ? last : top;
        }
        i = last;
        bool inside = first > from && last + 1 < end && last > first + 1;
        if (inside && curve->x[last] - curve->x[first] < UPWARD_WIDEST) {
            found->limit = WP_LIMIT_UPWARD;
            found->position = curve->x[top];
            return true;
        }
    }
    return false;
}

bool wp_check_slope(const struct wp_facts *facts, struct wp_found *found)
{
    double far = wp_window_mean(facts->curve, 3930.0, 3990.0);
    double near = wp_window_mean(facts->curve, 1970.0, 2030.0);
    if (!(far < wp_limit(WP_LIMIT_SLOPE) * near) || !(near > 0.0))
        return false;
    found->limit = WP_LIMIT_SLOPE;
    found->value = 100.0 * far / near;
    return true;
}

/* A weak band or a ripple in the quiet stretch also adds to the deviation from a line there. Noise
 * shows in the fine structure of the whole curve as well, so it counts only that far. */
#define FINE_TIMES 1.5

bool wp_check_noise(const struct wp_facts *facts, struct wp_found *found)
{
    double noise = fmin(facts->noise, FINE_TIMES * 100.0 * facts->levels.noise);
    if (isnan(facts->noise) || noise <= wp_limit(WP_LIMIT_NOISE_NOTE))
        return false;
    found->limit =
        noise > wp_limit(WP_LIMIT_NOISE_ADVISE) ? WP_LIMIT_NOISE_ADVISE : WP_LIMIT_NOISE_NOTE;
    found->value = noise;
    return true;
}

bool wp_check_fringes(const struct wp_facts *facts, struct wp_found *found)
{
    found->limit = WP_LIMIT_FRINGE_SIZE;
    found->value = facts->levels.ripple_period;
    return facts->levels.ripple > 0.0;
}
