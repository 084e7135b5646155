/* Which integers and which factor keep the ordinates of a spectrum. */
#include <float.h>
#include <math.h>

#include "number.h"
#include "write_text.h"

#define LARGEST_INTEGER 9007199254740992.0 /* 2^53 */

static bool keeps(const struct wp_spectrum *s, double factor, double tolerance)
{
    for (size_t i = 0; i < s->count; i++) {
        double y = s->y[i];
        if (isnan(y))
            continue;
        double m = nearbyint(y / factor);
        if (!(fabs(m) <= LARGEST_INTEGER) || fabs(m * factor - y) > tolerance * fabs(y))
            return false;
    }
    return true;
}

static double largest(const struct wp_spectrum *s)
{
    double most = 0.0;
    for (size_t i = 0; i < s->count; i++)
        most = fabs(s->y[i]) > most ? fabs(s->y[i]) : most;
    return most;
}

struct wp_scaling wp_scaling_find(const struct wp_spectrum *spectrum)
{
    double own = spectrum->y_factor;
    if (own != 0.0 && isfinite(own) && keeps(spectrum, own, 0.0))
        return (struct wp_scaling){own, true};
    static const double tolerances[] = {0.0, 2.0 * DBL_EPSILON};
    for (size_t i = 0; i < 2; i++) {
        for (int decimals = 0; decimals <= 15; decimals++) {
            double factor = wp_decimal_value(1, -decimals);
            if (keeps(spectrum, factor, tolerances[i]))
                return (struct wp_scaling){factor, i == 0};
        }
    }
    double most = largest(spectrum);
    if (most == 0.0)
        return (struct wp_scaling){1.0, true};
    int digits = (int)floor(log10(most)) + 1;
    return (struct wp_scaling){wp_decimal_value(1, digits - 15), false};
}

static bool written_with(const double *values, size_t count, int decimals)
{
    double power = wp_exact_powers_of_ten[decimals];
    for (size_t i = 0; i < count; i++) {
        if (isnan(values[i]))
            continue;
        double m = nearbyint(values[i] * power);
        if (!(fabs(m) <= LARGEST_INTEGER) || m / power != values[i])
            return false;
    }
    return true;
}

int wp_decimals_of(const double *values, size_t count)
{
    for (int decimals = 0; decimals <= 15; decimals++)
        if (written_with(values, count, decimals))
            return decimals;
    return -1;
}
