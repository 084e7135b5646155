/* Which printer is the nearest. */
#include <math.h>
#include <stdlib.h>

#include "places/places.h"

/* Named printers come before all others, the first before the second. */
static int named_rank(int64_t id, int64_t first, int64_t second)
{
    if (id == first && first != 0)
        return 0;
    return id == second && second != 0 ? 1 : 2;
}

/* qsort has no argument of its own, so what order depends on is kept beside each candidate. */
struct keyed {
    struct wp_candidate candidate;
    int rank;
};

static int compare(const void *a, const void *b)
{
    const struct keyed *left = a;
    const struct keyed *right = b;
    if (left->rank != right->rank)
        return left->rank < right->rank ? -1 : 1;
    if (left->candidate.near != right->candidate.near)
        return left->candidate.near < right->candidate.near ? -1 : 1;
    double left_metres = isnan(left->candidate.metres) ? INFINITY : left->candidate.metres;
    double right_metres = isnan(right->candidate.metres) ? INFINITY : right->candidate.metres;
    if (left_metres < right_metres)
        return -1;
    if (left_metres > right_metres)
        return 1;
    if (left->candidate.id == right->candidate.id)
        return 0;
    return left->candidate.id < right->candidate.id ? -1 : 1;
}

static double distance(const struct wp_spot *a, const struct wp_spot *b)
{
    if (!a->measured || !b->measured)
        return NAN;
    double metres = hypot(a->x_m - b->x_m, a->y_m - b->y_m);
    return isfinite(metres) ? metres : NAN;
}

bool wp_places_rank(const struct wp_spot *instrument, int64_t first, int64_t second,
                    struct wp_candidate *candidates, size_t count)
{
    struct keyed *keyed = calloc(count > 0 ? count : 1, sizeof *keyed);
    if (keyed == NULL)
        return false;
    for (size_t i = 0; i < count; i++) {
        struct wp_candidate *one = &candidates[i];
        keyed[i].rank = named_rank(one->id, first, second);
        one->named = keyed[i].rank < 2;
        one->near = wp_place_near(instrument->place, one->spot.place);
        one->metres = distance(instrument, &one->spot);
        keyed[i].candidate = *one;
    }
    qsort(keyed, count, sizeof *keyed, compare);
    for (size_t i = 0; i < count; i++)
        candidates[i] = keyed[i].candidate;
    free(keyed);
    return true;
}

bool wp_candidate_unasked(const struct wp_candidate *candidate)
{
    return candidate->named || candidate->near <= WP_NEAR_ROOM;
}
