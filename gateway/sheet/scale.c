#include "scale.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "spectrum/curve.h"

#define BEND 2000.0         /* cm-1, where the scale changes in the trade's tables */
#define USUAL_FIRST 4000.0  /* cm-1 */
#define USUAL_LAST 400.0    /* cm-1 */
#define USUAL_SLACK 25.0    /* cm-1 by which a file may pass the usual range unseen */
#define ABSORBANCE_MOST 4.0 /* beyond it detectors read nothing */

enum sheet_ordinate sheet_ordinate_of(const struct wp_spectrum *spectrum,
                                      enum wp_sheet_ordinate wanted)
{
    if (spectrum->y_unit == WP_Y_OTHER)
        return SHEET_AS_FILE;
    if (spectrum->technique == WP_INFRARED)
        return wanted == WP_SHEET_ABSORBANCE ? SHEET_ABSORB : SHEET_PERCENT;
    return spectrum->y_unit == WP_Y_ABSORBANCE ? SHEET_ABSORB : SHEET_PERCENT;
}

double sheet_value(const struct wp_spectrum *spectrum, enum sheet_ordinate ordinate, double y)
{
    if (!isfinite(y) || ordinate == SHEET_AS_FILE)
        return isfinite(y) ? y : NAN;
    if (ordinate == SHEET_PERCENT)
        return 100.0 * wp_y_to_transmittance(y, spectrum->y_unit);
    if (spectrum->y_unit == WP_Y_ABSORBANCE)
        return y;
    double t = wp_y_to_transmittance(y, spectrum->y_unit);
    return t > WP_T_FLOOR ? -log10(t) : ABSORBANCE_MOST;
}

double sheet_abscissa(const struct wp_spectrum *spectrum, bool wavenumbers, double x)
{
    if (!wavenumbers)
        return x;
    return x > 0 ? wp_x_to_cm1(x, spectrum->x_unit) : NAN;
}

/* The smallest of 1, 2, 5 times a power of ten that is not below `least`. */
static double nice_step(double least)
{
    if (!(least > 0) || !isfinite(least))
        return 1;
    double power = pow(10, floor(log10(least)));
    if (least <= power * 1.0000001)
        return power;
    if (least <= 2 * power)
        return 2 * power;
    return least <= 5 * power ? 5 * power : 10 * power;
}

static void x_round(struct sheet_x *x, double low, double high)
{
    double unit = high - low > 1000 ? 50 : nice_step((high - low) / 50);
    double first = ceil(high / unit - 1e-6) * unit;
    double last = floor(low / unit + 1e-6) * unit;
    if (x->wavenumbers && fabs(high - USUAL_FIRST) <= USUAL_SLACK)
        first = USUAL_FIRST;
    if (x->wavenumbers && fabs(low - USUAL_LAST) <= USUAL_SLACK)
        last = USUAL_LAST;
    if (!(first > last)) {
        first = high + 1;
        last = low - 1;
    }
    x->first = x->falling ? first : last;
    x->last = x->falling ? last : first;
}

void sheet_x_choose(struct sheet_x *x, const struct wp_spectrum *spectrum, double low, double high,
                    bool compress)
{
    /* A peak at the very end would stand on the frame. */
    double air = spectrum->discrete ? 0.02 * (high - low) : 0;
    low -= air;
    high += air;
    x->wavenumbers = spectrum->technique == WP_INFRARED && spectrum->x_unit != WP_X_OTHER;
    x->falling = x->wavenumbers;
    x->bend = NAN;
    x_round(x, low, high);
    if (compress && x->wavenumbers && x->first > BEND && x->last < BEND)
        x->bend = BEND;
    if (!isnan(x->bend)) {
        double upper = (x->first - BEND) / 2;
        double part = upper / (upper + BEND - x->last);
        x->bend_at = x->left + part * (x->right - x->left);
    }
}

double sheet_x_at(const struct sheet_x *x, double value)
{
    if (isnan(x->bend))
        return x->left + (x->first - value) / (x->first - x->last) * (x->right - x->left);
    if (value >= x->bend)
        return x->left + (x->first - value) / (x->first - x->bend) * (x->bend_at - x->left);
    return x->bend_at + (x->bend - value) / (x->bend - x->last) * (x->right - x->bend_at);
}

double sheet_x_value(const struct sheet_x *x, double at)
{
    if (isnan(x->bend))
        return x->first - (at - x->left) / (x->right - x->left) * (x->first - x->last);
    if (at <= x->bend_at)
        return x->first - (at - x->left) / (x->bend_at - x->left) * (x->first - x->bend);
    return x->bend - (at - x->bend_at) / (x->right - x->bend_at) * (x->bend - x->last);
}

static void y_choose_percent(struct sheet_y *y, double low, double high)
{
    y->low = low < 0 ? fmax(low, -5) : 0;
    y->high = high <= 102 ? 102 : fmin(ceil(high / 10 + 0.2) * 10, 150);
}

static void y_choose_free(struct sheet_y *y, double low, double high)
{
    double least = y->ordinate == SHEET_ABSORB ? 0.05 : 0;
    if (low >= 0 && low < 0.5 * high)
        low = 0;
    if (!(high - low > least))
        high = low + fmax(least, fabs(low) * 0.01 + 1e-9);
    double span = high - low;
    y->low = low >= 0 && low < 1e-12 ? 0 : low - 0.02 * span;
    y->high = high + 0.03 * span;
    if (y->ordinate == SHEET_ABSORB) {
        y->high = fmin(y->high, ABSORBANCE_MOST * 1.1);
        y->low = fmax(y->low, -0.1 * y->high);
    }
}

void sheet_y_choose(struct sheet_y *y, double low, double high)
{
    y->down = y->ordinate == SHEET_PERCENT;
    if (y->ordinate == SHEET_PERCENT)
        y_choose_percent(y, low, high);
    else
        y_choose_free(y, low, high);
    y->power = 0;
    double size = fmax(fabs(y->low), fabs(y->high));
    if (y->ordinate == SHEET_AS_FILE && (size >= 1e4 || size < 1e-2))
        y->power = 3 * (int)floor(log10(size) / 3 + 1e-9);
}

double sheet_y_at(const struct sheet_y *y, double value)
{
    double top = y->down ? y->top : y->top + y->gutter;
    double bottom = y->down ? y->bottom - y->gutter : y->bottom;
    double held = fmin(fmax(value, y->low), y->high);
    return bottom - (held - y->low) / (y->high - y->low) * (bottom - top);
}

/* A tick's value as text, without the locale's decimal sign. */
static void tick_text(double value, double step, char text[SHEET_TICK_ROOM])
{
    int places = 0;
    long factor = 1;
    for (; places < 6 && fabs(step * (double)factor - round(step * (double)factor)) > 1e-6;
         places++)
        factor *= 10;
    long whole = lround(fabs(value) * (double)factor);
    const char *sign = value < 0 && whole ? "\xE2\x88\x92" : "";
    if (places)
        snprintf(text, SHEET_TICK_ROOM, "%s%ld.%0*ld", sign, whole / factor, places,
                 whole % factor);
    else
        snprintf(text, SHEET_TICK_ROOM, "%s%ld", sign, whole);
}

/* Fewer small steps where five would not come out even. */
static int minor_count(double step)
{
    double lead = step / pow(10, floor(log10(step) + 1e-9));
    return lead > 1.5 && lead < 2.5 ? 4 : 5;
}

struct tick_run {
    double from, to; /* rising */
    double step;     /* between labels */
};

static size_t ticks_of(const struct tick_run *run, bool open_end, struct sheet_tick *ticks,
                       size_t count)
{
    int minors = minor_count(run->step);
    double small = run->step / minors;
    double slack = small * 1e-6;
    long index = (long)ceil((run->from - slack) / small);
    for (; count < SHEET_TICKS_MOST; index++) {
        double value = (double)index * small;
        if (value > run->to + (open_end ? -slack : slack))
            break;
        ticks[count].value = value;
        ticks[count].major = index % minors == 0;
        ticks[count].text[0] = '\0';
        if (ticks[count].major)
            tick_text(value, run->step, ticks[count].text);
        count++;
    }
    return count;
}

size_t sheet_x_ticks(const struct sheet_x *x, double pitch, struct sheet_tick *ticks)
{
    double low = fmin(x->first, x->last);
    double high = fmax(x->first, x->last);
    bool bent = !isnan(x->bend);
    double per_point =
        bent ? (x->bend - x->last) / (x->right - x->bend_at) : (high - low) / (x->right - x->left);
    struct tick_run lower = {low, bent ? x->bend : high, nice_step(per_point * pitch)};
    size_t count = ticks_of(&lower, bent, ticks, 0);
    if (bent) {
        double upper_step = nice_step(2 * per_point * pitch);
        /* 400, not 500: every second line of the lower part. */
        if (fabs(upper_step - 500) < 1 && fabs(lower.step - 200) < 1)
            upper_step = 400;
        struct tick_run upper = {x->bend, high, upper_step};
        count = ticks_of(&upper, false, ticks, count);
    }
    for (size_t i = 0; i < count; i++)
        ticks[i].at = sheet_x_at(x, ticks[i].value);
    return count;
}

size_t sheet_y_ticks(const struct sheet_y *y, double pitch, struct sheet_tick *ticks)
{
    double height = y->bottom - y->top - y->gutter;
    double unit = pow(10, y->power);
    double low = y->low / unit;
    double high = y->high / unit;
    struct tick_run run = {low, high, nice_step((high - low) / height * pitch)};
    size_t count = ticks_of(&run, false, ticks, 0);
    for (size_t i = 0; i < count; i++)
        ticks[i].at = sheet_y_at(y, ticks[i].value * unit);
    return count;
}
