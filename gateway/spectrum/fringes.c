#include "fringes.h"

#include <math.h>

#include "levels.h"
#include "remarks_table.h"

/* The stretch that is searched, cm-1: few samples absorb there. The air's carbon dioxide is left
 * out. */
#define LOW 1850.0
#define HIGH 2690.0
#define SKIP_LOW 2290.0
#define SKIP_HIGH 2390.0
#define CELLS 140 /* 6 cm-1 each */
#define SHORTEST 24.0
#define TRIES 96
/* The ripple must explain this share of what is left when a parabola is taken off. */
#define EXPLAINED 0.6

/* Means of the transmittance over even cells; false if a cell has no point. */
static bool fill_cells(const struct wp_curve *curve, double cells[CELLS])
{
    double width = (HIGH - LOW) / CELLS;
    size_t i = wp_curve_at(curve, LOW);
    if (curve->x[0] > LOW + width || curve->x[curve->count - 1] < HIGH - width)
        return false;
    for (size_t cell = 0; cell < CELLS; cell++) {
        double sum = 0.0;
        size_t points = 0;
        double end = LOW + width * (double)(cell + 1);
        for (; i < curve->count && curve->x[i] < end; i++, points++)
            sum += curve->t[i];
        if (points == 0)
            return false;
        cells[cell] = sum / (double)points;
    }
    return true;
}

/* Takes off the least-squares parabola. Even cells: the odd and the even part part company. */
static void take_off_parabola(double cells[CELLS])
{
    double s2 = 0, s4 = 0, r0 = 0, r1 = 0, r2 = 0;
    for (size_t i = 0; i < CELLS; i++) {
        double u = ((double)i - 0.5 * (CELLS - 1)) / CELLS;
        s2 += u * u;
        s4 += u * u * u * u;
        r0 += cells[i];
        r1 += cells[i] * u;
        r2 += cells[i] * u * u;
    }
    double square = (r2 * CELLS - r0 * s2) / (s4 * CELLS - s2 * s2);
    double constant = (r0 - square * s2) / CELLS;
    for (size_t i = 0; i < CELLS; i++) {
        double u = ((double)i - 0.5 * (CELLS - 1)) / CELLS;
        cells[i] -= constant + r1 / s2 * u + square * u * u;
    }
}

/* Sum of squares that a sine of `period` cells explains. */
static size_t cell_of(double x)
{
    return (size_t)((x - LOW) * CELLS / (HIGH - LOW));
}

static size_t blank_dioxide(double cells[CELLS])
{
    for (size_t i = cell_of(SKIP_LOW); i < cell_of(SKIP_HIGH); i++)
        cells[i] = 0.0;
    return CELLS - (cell_of(SKIP_HIGH) - cell_of(SKIP_LOW));
}

static double explained(const double cells[CELLS], size_t used, double period, double *size)
{
    double turn_c = cos(2.0 * M_PI / period);
    double turn_s = sin(2.0 * M_PI / period);
    double c = 1.0;
    double s = 0.0;
    double in_phase = 0.0;
    double across = 0.0;
    for (size_t i = 0; i < CELLS; i++) {
        in_phase += cells[i] * c;
        across += cells[i] * s;
        double next = c * turn_c - s * turn_s;
        s = s * turn_c + c * turn_s;
        c = next;
    }
    double power = in_phase * in_phase + across * across;
    *size = 4.0 * sqrt(power) / (double)used;
    return 2.0 * power / (double)used;
}

static double spread(const double cells[CELLS], double *squares)
{
    double least = cells[0];
    double most = cells[0];
    *squares = 0.0;
    for (size_t i = 0; i < CELLS; i++) {
        least = cells[i] < least ? cells[i] : least;
        most = cells[i] > most ? cells[i] : most;
        *squares += cells[i] * cells[i];
    }
    return most - least;
}

double wp_fringes_measure(const struct wp_curve *curve, double *period)
{
    double cells[CELLS];
    double squares;
    double least = wp_limit(WP_LIMIT_FRINGE_SIZE) / 100.0;
    *period = 0.0;
    if (!fill_cells(curve, cells))
        return 0.0;
    take_off_parabola(cells);
    size_t used = blank_dioxide(cells);
    if (spread(cells, &squares) < least)
        return 0.0;
    double fewest = wp_limit(WP_LIMIT_FRINGE_PERIODS);
    double most = (HIGH - LOW) / SHORTEST;
    double best = 0.0;
    double best_size = 0.0;
    for (size_t i = 0; i < TRIES; i++) {
        double periods = fewest + (double)i * (most - fewest) / TRIES;
        double size;
        double power = explained(cells, used, CELLS / periods, &size);
        if (power <= best)
            continue;
        best = power;
        best_size = size;
        *period = (HIGH - LOW) / periods;
    }
    return best > EXPLAINED * squares && best_size > least ? best_size : 0.0;
}
