#include "windows.h"

#include <math.h>

#include "levels.h"

#define NOISE_POINTS_LEAST 8

struct stretch {
    size_t from;
    size_t end;
};

static bool covers(const struct wp_curve *curve, double low, double high)
{
    double slack = 1.5 * curve->step;
    return curve->x[0] <= low + slack && curve->x[curve->count - 1] >= high - slack;
}

static struct stretch stretch_of(const struct wp_curve *curve, double low, double high)
{
    if (!covers(curve, low, high))
        return (struct stretch){0, 0};
    return (struct stretch){wp_curve_at(curve, low), wp_curve_at(curve, high)};
}

double wp_window_mean(const struct wp_curve *curve, double low, double high)
{
    struct stretch s = stretch_of(curve, low, high);
    double sum = 0.0;
    for (size_t i = s.from; i < s.end; i++)
        sum += curve->t[i];
    return s.end > s.from ? sum / (double)(s.end - s.from) : NAN;
}

double wp_window_noise(const struct wp_curve *curve, double low, double high)
{
    struct stretch s = stretch_of(curve, low, high);
    if (s.end < s.from + NOISE_POINTS_LEAST)
        return NAN;
    double n = (double)(s.end - s.from);
    double middle = 0.5 * (curve->x[s.from] + curve->x[s.end - 1]);
    double sy = 0, sxy = 0, sxx = 0, syy = 0, sx = 0;
    for (size_t i = s.from; i < s.end; i++) {
        double u = curve->x[i] - middle;
        double y = curve->t[i] - curve->t[s.from];
        sx += u;
        sy += y;
        sxx += u * u;
        sxy += u * y;
        syy += y * y;
    }
    double cxx = sxx - sx * sx / n;
    double cxy = sxy - sx * sy / n;
    double left = syy - sy * sy / n - cxy * cxy / cxx;
    return left > 0.0 ? sqrt(left / (n - 2.0)) : 0.0;
}

double wp_quiet_noise(const struct wp_curve *curve)
{
    double one = wp_window_noise(curve, 2000.0, 2100.0);
    double two = wp_window_noise(curve, 2500.0, 2600.0);
    return 100.0 * fmin(one, two); /* fmin passes over NAN */
}
