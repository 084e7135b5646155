/* remarks_checks.h - the checks behind the remarks, one function each. Private to this room. */
#ifndef SPECTRUM_REMARKS_CHECKS_H
#define SPECTRUM_REMARKS_CHECKS_H

#include "baseline.h"
#include "levels.h"
#include "remarks_table.h"

/* What the checks look at; made once for an examination. */
struct wp_facts {
    const struct wp_spectrum *spectrum;
    const struct wp_curve *curve;
    const struct wp_context *context;
    const struct wp_band *bands;
    size_t band_count;
    struct wp_levels levels;
    struct wp_baseline baseline;
    double low; /* the range that counts, cm-1: from the cut-off or the first point */
    double high;
    double baseline_t; /* higher of 2500-2650 and 1900-2000, transmittance; NAN if not covered */
    double noise;      /* %T rms; NAN if not covered */
    double dioxide;    /* absorbance of carbon dioxide, either sign */
    double vapour;     /* water vapour, absorbance peak to peak; 0 if it does not look like it */
};

/* What a check found: the row that was crossed and what goes into its sentences. */
struct wp_found {
    enum wp_limit limit;
    long count;
    double value;
    double position; /* cm-1, NAN if nowhere */
    const char *name;
};

typedef bool wp_check(const struct wp_facts *facts, struct wp_found *found);

wp_check wp_check_too_strong;
wp_check wp_check_too_weak;
wp_check wp_check_no_sample;
wp_check wp_check_baseline;
wp_check wp_check_over;
wp_check wp_check_upward;
wp_check wp_check_slope;
wp_check wp_check_noise;
wp_check wp_check_fringes;
wp_check wp_check_wet;
wp_check wp_check_solvent;
wp_check wp_check_grease;
wp_check wp_check_dioxide;
wp_check wp_check_vapour;
wp_check wp_check_resolution;
wp_check wp_check_scans;
wp_check wp_check_range;
wp_check wp_check_processed;
wp_check wp_check_upside_down;
wp_check wp_check_single_beam;
wp_check wp_check_incomplete;

/* Fills facts->dioxide and facts->vapour. */
void wp_air_measure(struct wp_facts *facts);

/* True where the oil of a mull absorbs. */
bool wp_is_oil(double wavenumber);

/* Absorbance of `band` above the line the spectrum would follow without bands. */
double wp_band_height(const struct wp_facts *facts, const struct wp_band *band);

/* The most prominent-looking band of the sample: not air, not the oil of a mull, by height above
 * the baseline. NULL if there is none. */
const struct wp_band *wp_strongest(const struct wp_facts *facts);

#endif
