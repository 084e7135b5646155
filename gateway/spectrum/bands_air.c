#include "bands_air.h"

#include <math.h>

/* Carbon dioxide: the two lobes of the 2349 cm-1 band at 4 cm-1 resolution (value from memory). */
#define CO2_LOW 2328.0
#define CO2_HIGH 2376.0
#define CO2_WIDEST 60.0
/* Its bend, seen as a spike where the lobes are seen as well (value from memory). */
#define BEND_LOW 664.0
#define BEND_HIGH 671.5

/* Water vapour lines at a spacing of 4 cm-1, read off the public-domain vapour spectrum of the
 * NIST/EPA gas-phase collection; each to 1.5 cm-1. */
static const double vapour[] = {1339.2, 1397.5, 1418.5, 1435.2, 1458.0, 1474.8, 1489.7, 1509.6,
                                1521.5, 1542.4, 1558.2, 1651.8, 1673.5, 1684.8, 1699.5, 1717.7,
                                1734.0, 1749.4, 1772.7, 1845.6, 1869.5, 3526.3, 3547.3, 3567.5,
                                3589.2, 3630.2, 3650.3, 3674.3, 3690.3, 3713.4, 3725.5, 3737.1,
                                3749.6, 3801.9, 3819.1, 3840.9, 3854.3, 3867.2, 3882.7, 3904.4};
#define VAPOUR_LINES (sizeof vapour / sizeof vapour[0])
#define VAPOUR_NEAR 2.5
#define VAPOUR_WIDEST 14.0
/* Lines stand alone above here; a single line among the sample's bands proves nothing, so some
 * company is asked for. */
#define ALONE_LOW 1840.0
#define ALONE_HIGH 1875.0
#define COMPANY 4

static bool is_vapour_line(const struct wp_band *band)
{
    if (band->width > VAPOUR_WIDEST || band->saturated)
        return false;
    for (size_t i = 0; i < VAPOUR_LINES; i++)
        if (fabs(band->position - vapour[i]) <= VAPOUR_NEAR)
            return true;
    return false;
}

static bool is_alone(const struct wp_band *band)
{
    return (band->position > ALONE_LOW && band->position < ALONE_HIGH) || band->position > 3700.0;
}

static bool is_within(const struct wp_band *band, double low, double high, double widest)
{
    return band->position > low && band->position < high && band->width <= widest;
}

static bool mark_dioxide(struct wp_band *bands, size_t count)
{
    bool seen = false;
    for (size_t i = 0; i < count; i++) {
        if (is_within(&bands[i], CO2_LOW, CO2_HIGH, CO2_WIDEST)) {
            bands[i].air = true;
            seen = true;
        }
    }
    return seen;
}

void wp_bands_mark_air(struct wp_band *bands, size_t count)
{
    bool dioxide = mark_dioxide(bands, count);
    size_t lines = 0;
    size_t alone = 0;
    double strongest = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (!is_vapour_line(&bands[i]))
            continue;
        lines++;
        alone += is_alone(&bands[i]);
        if (is_alone(&bands[i]) && bands[i].prominence > strongest)
            strongest = bands[i].prominence;
    }
    bool humid = lines >= COMPANY && alone >= 2;
    for (size_t i = 0; i < count; i++) {
        struct wp_band *band = &bands[i];
        if (humid && is_vapour_line(band) && band->prominence <= 3.0 * strongest)
            band->air = true;
        if (dioxide && is_within(band, BEND_LOW, BEND_HIGH, VAPOUR_WIDEST))
            band->air = true;
    }
}
