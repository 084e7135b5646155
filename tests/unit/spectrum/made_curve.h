/* made_curve.h - curves for the tests of this folder: bands of known place, height and width on a
 * baseline. Header only; each test is a program of its own. */
#ifndef TESTS_MADE_CURVE_H
#define TESTS_MADE_CURVE_H

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "spectrum/curve.h"

#define MADE_POINTS 1868 /* 399.2 to 3999.8 cm-1 */
#define MADE_FIRST 399.21
#define MADE_STEP 1.928601

struct made_band {
    double position;
    double height; /* absorbance */
    double width;  /* cm-1 */
};

/* Normal deviates, the same on every machine: a sum of twelve even ones from a 64-bit generator. */
static inline double made_noise(uint64_t *seed)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++) {
        *seed = *seed * 6364136223846793005u + 1442695040888963407u;
        sum += (double)(*seed >> 11) / 9007199254740992.0;
    }
    return sum;
}

/* A spectrum in %T of Lorentzian bands, `noise` in %T rms. Release it. */
static inline void made_spectrum(struct wp_spectrum *s, const struct made_band *bands, size_t count,
                                 double baseline, double noise, uint64_t seed)
{
    memset(s, 0, sizeof *s);
    s->technique = WP_INFRARED;
    s->x_unit = WP_X_CM1;
    s->y_unit = WP_Y_PERCENT;
    s->resolution = NAN;
    s->count = MADE_POINTS;
    s->title = calloc(1, 1);
    s->x = calloc(MADE_POINTS, sizeof *s->x);
    s->y = calloc(MADE_POINTS, sizeof *s->y);
    if (!s->title || !s->x || !s->y)
        abort();
    for (size_t i = 0; i < MADE_POINTS; i++) {
        double x = MADE_FIRST + MADE_STEP * (double)i;
        double a = 0.0;
        for (size_t k = 0; k < count; k++) {
            double u = 2.0 * (x - bands[k].position) / bands[k].width;
            a += bands[k].height / (1.0 + u * u);
        }
        s->x[i] = x;
        s->y[i] = baseline * pow(10.0, -a) + noise * made_noise(&seed);
    }
}

static inline void made_curve(struct wp_curve *curve, const struct made_band *bands, size_t count,
                              double baseline, double noise, uint64_t seed)
{
    struct wp_spectrum s;
    made_spectrum(&s, bands, count, baseline, noise, seed);
    if (wp_curve_make(&s, curve, NULL))
        abort();
    wp_spectrum_release(&s);
}

#endif
