/* The room's air: carbon dioxide and water vapour. */
#include <math.h>

#include "remarks_checks.h"
#include "windows.h"

/* Lines of water vapour near 1845 and 1869 cm-1 and in the O-H stretch, with their rough relative
 * heights at 4 cm-1. Positions: public-domain vapour spectrum of the NIST/EPA collection. */
static const struct {
    double position;
    double height;
} lines[] = {{1825.2, 0.5}, {1830.1, 0.8}, {1844.5, 1.0}, {1868.5, 1.0}, {1889.6, 0.7},
             {1895.2, 0.4}, {1908.0, 0.3}, {1918.0, 0.5}, {1942.5, 0.3}};
#define LINES (sizeof lines / sizeof lines[0])
#define VAPOUR_LOW 1815.0
#define VAPOUR_HIGH 1950.0
#define SIZE_LOW 1838.0
#define SIZE_HIGH 1876.0
#define LINE_WIDTH 5.0 /* cm-1, full width at half maximum at 4 cm-1 resolution */
#define SMOOTH 24.0    /* cm-1; slower changes are the sample's */
#define POINTS_MOST 1024

static double dioxide_of(const struct wp_curve *curve)
{
    double left = wp_window_mean(curve, 2265.0, 2285.0);
    double right = wp_window_mean(curve, 2395.0, 2415.0);
    double most = 0.0;
    if (!(left > 0.0) || !(right > 0.0))
        return 0.0;
    size_t end = wp_curve_at(curve, 2380.0);
    for (size_t i = wp_curve_at(curve, 2320.0); i + 1 < end; i++) {
        double share = (curve->x[i] - 2275.0) / 130.0;
        double line = left + share * (right - left);
        double here = 0.5 * (curve->t[i] + curve->t[i + 1]); /* two points: a spike is no band */
        double height = here > 0.0 ? fabs(log(line / here)) * M_LOG10E : 0.0;
        most = height > most ? height : most;
    }
    return most;
}

/* Fine structure of the absorbance in from..end: less its mean over SMOOTH. */
static void sharpen(const struct wp_curve *curve, size_t from, size_t end, double *fine)
{
    size_t reach = wp_curve_points(curve, 0.5 * SMOOTH);
    double sum = 0.0;
    size_t low = from;
    size_t high = from;
    for (size_t i = from; i < end; i++) {
        for (; high < end && high <= i + reach; high++)
            sum += curve->a[high];
        for (; low + reach < i; low++)
            sum -= curve->a[low];
        fine[i - from] = curve->a[i] - sum / (double)(high - low);
    }
}

static double template_at(double x)
{
    double sum = 0.0;
    for (size_t i = 0; i < LINES; i++) {
        double u = (x - lines[i].position) / LINE_WIDTH;
        if (fabs(u) < 2.5)
            sum += lines[i].height * exp(-4.0 * M_LN2 * u * u);
    }
    return sum;
}

static double peak_to_peak(const struct wp_curve *curve, size_t from, size_t count,
                           const double *fine)
{
    double least = INFINITY;
    double most = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        double x = curve->x[from + i];
        if (x < SIZE_LOW || x > SIZE_HIGH)
            continue;
        least = fine[i] < least ? fine[i] : least;
        most = fine[i] > most ? fine[i] : most;
    }
    return most > least ? most - least : 0.0;
}

static double correlation(const double *a, const double *b, size_t count)
{
    double sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
    for (size_t i = 0; i < count; i++) {
        sa += a[i];
        sb += b[i];
        saa += a[i] * a[i];
        sbb += b[i] * b[i];
        sab += a[i] * b[i];
    }
    double n = (double)count;
    double va = saa - sa * sa / n;
    double vb = sbb - sb * sb / n;
    return va > 0.0 && vb > 0.0 ? (sab - sa * sb / n) / sqrt(va * vb) : 0.0;
}

static double vapour_of(const struct wp_curve *curve)
{
    double fine[POINTS_MOST] = {0};
    double shape[POINTS_MOST] = {0};
    size_t from = wp_curve_at(curve, VAPOUR_LOW);
    size_t end = wp_curve_at(curve, VAPOUR_HIGH);
    if (from == 0 || end == curve->count || end < from + 16 || end - from > POINTS_MOST)
        return 0.0;
    sharpen(curve, from, end, fine);
    double size = peak_to_peak(curve, from, end - from, fine);
    if (size <= wp_limit(WP_LIMIT_VAPOUR_SIZE))
        return 0.0;
    for (size_t i = from; i < end; i++)
        shape[i - from] = template_at(curve->x[i]);
    double match = fabs(correlation(fine, shape, end - from));
    return match > wp_limit(WP_LIMIT_VAPOUR_MATCH) ? size : 0.0;
}

void wp_air_measure(struct wp_facts *facts)
{
    facts->dioxide = dioxide_of(facts->curve);
    facts->vapour = vapour_of(facts->curve);
}

bool wp_check_dioxide(const struct wp_facts *facts, struct wp_found *found)
{
    found->limit = WP_LIMIT_CO2_REMARK;
    found->value = facts->dioxide;
    found->position = 2349.0;
    return facts->dioxide > wp_limit(WP_LIMIT_CO2_REMARK);
}

bool wp_check_vapour(const struct wp_facts *facts, struct wp_found *found)
{
    found->limit = WP_LIMIT_VAPOUR_SIZE;
    found->value = facts->vapour;
    found->position = 1869.0;
    return facts->vapour > wp_limit(WP_LIMIT_VAPOUR_SIZE);
}
