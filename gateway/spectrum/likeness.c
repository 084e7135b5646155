/* Comparing two prints. */
#include <math.h>
#include <stdlib.h>

#include "print.h"

#define POINTS_LEAST 120   /* shared samples, in all */
#define SHARED_LEAST 24    /* and in a window that is to count */
#define NOISE_WINDOWS 3    /* windows that look like noise, to call two prints alike */
#define ALIKE_MOST 0.40    /* what is not shared, of all there is: 0 the same, 1 unrelated */
#define ALIKE_WINDOW 0.55  /* the same for each window but one */
#define GRID_SHARE 0.25    /* of a sample's distance: abscissae closer than this are the same */
#define LEVELS_OFF 2       /* windows of another mean transmittance, to call two prints different */
#define LEVEL_STEPS 0.75   /* rounding steps; half of one where the noise is less than a step */
#define LEVEL_NEAR 2e-6    /* means closer than this are the same, and more for coarse rounding */
#define ROUNDING_TIMES 4.0 /* more than this many times what rounding explains is not rounding */

struct view {
    const unsigned char *bytes;
    size_t windows;
    int exponent;
    double resolved;
};

/* A window of one print that begins at the same place as one of the other. */
struct pair {
    const unsigned char *head_a;
    const unsigned char *head_b;
    const signed char *samples_a;
    const signed char *samples_b;
    size_t count;
    bool whole; /* the same samples to the last: their means can be compared */
};

struct shared {
    size_t points;
    size_t noise_points;
    size_t noise_windows;
    double unshared; /* sum of squared differences, transmittance squared */
    double noise_unshared;
    double noise_all; /* sum of both prints' squares */
    double worst;     /* share that is not shared, of the worst noise window */
    double second;    /* and of the second worst */
};

static bool view_of(const struct wp_print *print, struct view *view)
{
    if (memcmp(print->bytes, "WPL1", 4) != 0 || print->bytes[4] > PRINT_WINDOWS)
        return false;
    view->bytes = print->bytes;
    view->windows = print->bytes[4];
    view->exponent = (print->bytes[5] ^ 0x80) - 0x80; /* two's complement */
    view->resolved = (double)print_get_float(print->bytes + 8);
    return view->windows > 0;
}

struct sums {
    int64_t aa;
    int64_t bb;
    int64_t ab;
    size_t points;
};

#define BLOCK 16

/* Sums over a block of BLOCK samples: integers and a fixed length, so that the compiler can do many
 * at a time. A block's sums stay below 2^18. */
static void correlate_block(const signed char *a, const signed char *b, struct sums *sums)
{
    int32_t aa = 0;
    int32_t bb = 0;
    int32_t ab = 0;
    int32_t points = 0;
    for (int i = 0; i < BLOCK; i++) {
        int32_t inside = (abs(a[i]) < PRINT_BEYOND) & (abs(b[i]) < PRINT_BEYOND);
        int32_t u = (int32_t)a[i] * inside;
        int32_t v = (int32_t)b[i] * inside;
        aa += u * u;
        bb += v * v;
        ab += u * v;
        points += inside;
    }
    sums->aa += aa;
    sums->bb += bb;
    sums->ab += ab;
    sums->points += (size_t)points;
}

static struct sums correlate(const signed char *a, const signed char *b, size_t count)
{
    struct sums sums = {0};
    size_t i = 0;
    for (; i + BLOCK <= count; i += BLOCK)
        correlate_block(a + i, b + i, &sums);
    for (; i < count; i++) {
        if (abs(a[i]) >= PRINT_BEYOND || abs(b[i]) >= PRINT_BEYOND)
            continue;
        sums.aa += a[i] * a[i];
        sums.bb += b[i] * b[i];
        sums.ab += a[i] * b[i];
        sums.points++;
    }
    return sums;
}

/* By how many samples b's window begins later than a's; false if the grids are not the same. */
static bool align(const unsigned char *a, const unsigned char *b, long *shift)
{
    double step = (double)print_get_float(a + 8);
    double other = (double)print_get_float(b + 8);
    if (!(step > 0.0) || !(fabs(step - other) * PRINT_SAMPLES < GRID_SHARE * step))
        return false;
    double apart = ((double)print_get_float(b) - (double)print_get_float(a)) / step;
    if (!(fabs(apart) < 4.0))
        return false;
    *shift = lround(apart);
    return fabs(apart - (double)*shift) < GRID_SHARE;
}

static bool pair_up(const struct view *a, size_t i, const struct view *b, size_t j,
                    struct pair *pair)
{
    long shift;
    pair->head_a = a->bytes + print_window_head(i);
    pair->head_b = b->bytes + print_window_head(j);
    if (!align(pair->head_a, pair->head_b, &shift))
        return false;
    size_t skip_a = shift > 0 ? (size_t)shift : 0;
    size_t skip_b = shift < 0 ? (size_t)-shift : 0;
    size_t count_a = pair->head_a[12];
    size_t count_b = pair->head_b[12];
    if (count_a > PRINT_SAMPLES || count_b > PRINT_SAMPLES || count_a <= skip_a ||
        count_b <= skip_b)
        return false;
    pair->whole = shift == 0 && count_a == count_b;
    count_a -= skip_a;
    count_b -= skip_b;
    pair->count = count_a < count_b ? count_a : count_b;
    pair->samples_a = (const signed char *)a->bytes + print_samples(i) + skip_a;
    pair->samples_b = (const signed char *)b->bytes + print_samples(j) + skip_b;
    return true;
}

/* Windows come in rising order in both prints. Returns how many pairs there are. */
static size_t pair_all(const struct view *a, const struct view *b, struct pair pairs[PRINT_WINDOWS])
{
    size_t count = 0;
    size_t i = 0;
    size_t j = 0;
    while (i < a->windows && j < b->windows) {
        float at_a = print_get_float(a->bytes + print_window_head(i));
        float at_b = print_get_float(b->bytes + print_window_head(j));
        if (pair_up(a, i, b, j, &pairs[count])) {
            count++;
            i++;
            j++;
        } else if (at_a < at_b) {
            i++;
        } else {
            j++;
        }
    }
    return count;
}

/* Rounding moves a mean by far less than one rounding step; a sample put back into the beam, or a
 * minute of drift, by far more. */
static bool is_off_level(const struct pair *pairs, size_t count, double tolerance)
{
    size_t off = 0;
    for (size_t i = 0; i < count; i++)
        off += pairs[i].whole && fabs((double)print_get_float(pairs[i].head_a + 4) -
                                      (double)print_get_float(pairs[i].head_b + 4)) > tolerance;
    return off >= LEVELS_OFF;
}

static void add_pair(const struct pair *pair, double unit_a, double unit_b, struct shared *shared)
{
    struct sums sums = correlate(pair->samples_a, pair->samples_b, pair->count);
    if (sums.points < SHARED_LEAST)
        return;
    double all = (double)sums.aa * unit_a * unit_a + (double)sums.bb * unit_b * unit_b;
    double unshared = all - 2.0 * (double)sums.ab * unit_a * unit_b;
    shared->points += sums.points;
    shared->unshared += unshared;
    if (!pair->head_a[13] || !pair->head_b[13] || !(all > 0.0))
        return;
    double ratio = unshared / all;
    shared->noise_windows++;
    shared->noise_points += sums.points;
    shared->noise_unshared += unshared;
    shared->noise_all += all;
    if (ratio > shared->worst) {
        shared->second = shared->worst;
        shared->worst = ratio;
    } else if (ratio > shared->second) {
        shared->second = ratio;
    }
}

static bool is_same_noise(const struct shared *shared)
{
    return shared->noise_windows >= NOISE_WINDOWS && shared->noise_points >= POINTS_LEAST &&
           shared->noise_unshared < ALIKE_MOST * shared->noise_all && shared->second < ALIKE_WINDOW;
}

enum wp_likeness wp_print_compare(const struct wp_print *a, const struct wp_print *b)
{
    struct view view_a;
    struct view view_b;
    struct pair pairs[PRINT_WINDOWS];
    struct shared shared = {0};
    if (!view_of(a, &view_a) || !view_of(b, &view_b))
        return WP_CANNOT_TELL;
    size_t count = pair_all(&view_a, &view_b, pairs);
    double rounding = view_a.resolved + view_b.resolved;
    if (is_off_level(pairs, count, LEVEL_STEPS * rounding + LEVEL_NEAR))
        return WP_DIFFERENT;
    double unit_a = ldexp(1.0, view_a.exponent);
    double unit_b = ldexp(1.0, view_b.exponent);
    for (size_t i = 0; i < count; i++)
        add_pair(&pairs[i], unit_a, unit_b, &shared);
    if (shared.points < POINTS_LEAST)
        return WP_CANNOT_TELL;
    if (is_same_noise(&shared))
        return WP_ALIKE;
    /* A rounding error is uniform: its variance is a twelfth of the square of the step. */
    double explained = (view_a.resolved * view_a.resolved + view_b.resolved * view_b.resolved +
                        unit_a * unit_a + unit_b * unit_b) /
                       12.0;
    bool more = shared.unshared > ROUNDING_TIMES * explained * (double)shared.points;
    return more ? WP_DIFFERENT : WP_CANNOT_TELL;
}
