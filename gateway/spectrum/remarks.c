#include "spectrum/remarks.h"

#include <math.h>
#include <string.h>

#include "bands_find.h"
#include "remarks_checks.h"
#include "remarks_text.h"
#include "windows.h"

#define KIND(kind) (1u << (kind))
#define PREP(preparation) (1u << (preparation))
#define ALL (~0u)

/* Blanks and backgrounds raise no alarms about their content. A polystyrene film is flat at its
 * strongest bands by design. */
#define SAMPLES                                                                                    \
    (KIND(WP_KIND_SAMPLE) | KIND(WP_KIND_REPEAT) | KIND(WP_KIND_STANDARD) |                        \
     KIND(WP_KIND_DEMONSTRATION))
#define NOT_BLANKS (SAMPLES | KIND(WP_KIND_FILM_CHECK))
#define SOLIDS (PREP(WP_PREP_UNKNOWN) | PREP(WP_PREP_MULL) | PREP(WP_PREP_PELLET))

/* Which check is made for what. */
static const struct {
    wp_check *check;
    unsigned kinds;
    unsigned preparations;
    bool alone; /* if it speaks, the numbers mean nothing and nothing else is said */
    bool staff_only;
} rules[] = {
    {wp_check_upside_down, NOT_BLANKS, ALL, true, false},
    {wp_check_single_beam, NOT_BLANKS, ALL, true, false},
    {wp_check_no_sample, NOT_BLANKS, ALL, true, false},
    {wp_check_too_strong, SAMPLES, ALL & ~PREP(WP_PREP_SOLUTION), false, false},
    {wp_check_too_weak, SAMPLES, ALL, false, false},
    {wp_check_baseline, NOT_BLANKS, ALL, false, false},
    {wp_check_upward, NOT_BLANKS, ALL & ~PREP(WP_PREP_SOLUTION), false, false},
    {wp_check_over, NOT_BLANKS, ALL, false, false},
    {wp_check_slope, SAMPLES, SOLIDS, false, false},
    {wp_check_wet, SAMPLES, ALL & ~(PREP(WP_PREP_PELLET) | PREP(WP_PREP_GAS)), false, false},
    {wp_check_solvent, SAMPLES, ALL & ~(PREP(WP_PREP_GAS) | PREP(WP_PREP_SOLUTION)), false, true},
    {wp_check_grease, SAMPLES, ALL & ~PREP(WP_PREP_GAS), false, false},
    {wp_check_dioxide, NOT_BLANKS, ALL & ~PREP(WP_PREP_GAS), false, false},
    {wp_check_vapour, NOT_BLANKS, ALL & ~PREP(WP_PREP_GAS), false, false},
    {wp_check_noise, NOT_BLANKS, ALL, false, false},
    {wp_check_fringes, NOT_BLANKS, ALL & ~PREP(WP_PREP_CAST_FILM), false, false},
    {wp_check_resolution, NOT_BLANKS, ALL, false, false},
    {wp_check_scans, NOT_BLANKS, ALL, false, false},
    {wp_check_range, NOT_BLANKS, ALL, false, false},
    {wp_check_incomplete, ALL, ALL, false, false},
    {wp_check_processed, NOT_BLANKS, ALL, false, false},
};
#define RULES (sizeof rules / sizeof rules[0])

/* Below this the plates absorb, cm-1. NaCl: common practice. KBr, CsI: published tables of windows;
 * CaF2, ZnSe: values from memory. */
static double cut_off_of(const struct wp_context *context)
{
    static const double cut_offs[] = {
        [WP_PLATES_NACL] = 650.0, [WP_PLATES_KBR] = 400.0, [WP_PLATES_CAF2] = 1100.0,
        [WP_PLATES_ZNSE] = 550.0, [WP_PLATES_CSI] = 200.0,
    };
    unsigned plates = (unsigned)context->plates;
    return plates < sizeof cut_offs / sizeof cut_offs[0] ? cut_offs[plates] : 0.0;
}

static bool is_worse(const struct wp_found *a, const struct wp_found *b)
{
    const struct wp_limit_row *row_a = &wp_limit_rows[a->limit];
    const struct wp_limit_row *row_b = &wp_limit_rows[b->limit];
    if (row_a->weight != row_b->weight)
        return row_a->weight > row_b->weight;
    return row_a->severity > row_b->severity;
}

struct worst {
    struct wp_found found[WP_REMARKS_MOST];
    bool staff_only[WP_REMARKS_MOST];
    size_t count;
};

static size_t place_of_code(const struct worst *worst, const char *code)
{
    size_t i = 0;
    while (i < worst->count && strcmp(wp_limit_rows[worst->found[i].limit].code, code) != 0)
        i++;
    return i;
}

static void take_out(struct worst *worst, size_t place)
{
    worst->count--;
    for (size_t i = place; i < worst->count; i++) {
        worst->found[i] = worst->found[i + 1];
        worst->staff_only[i] = worst->staff_only[i + 1];
    }
}

/* Keeps the worst, worst first. Two remarks with one code would say the same twice, so the milder
 * of them goes. */
static void keep(struct worst *worst, const struct wp_found *found, bool staff_only)
{
    size_t same = place_of_code(worst, wp_limit_rows[found->limit].code);
    if (same < worst->count) {
        if (!is_worse(found, &worst->found[same]))
            return;
        take_out(worst, same);
    }
    size_t place = 0;
    while (place < worst->count && !is_worse(found, &worst->found[place]))
        place++;
    if (place == WP_REMARKS_MOST)
        return;
    if (worst->count < WP_REMARKS_MOST)
        worst->count++;
    for (size_t i = worst->count - 1; i > place; i--) {
        worst->found[i] = worst->found[i - 1];
        worst->staff_only[i] = worst->staff_only[i - 1];
    }
    worst->found[place] = *found;
    worst->staff_only[place] = staff_only;
}

static void run_rules(const struct wp_facts *facts, struct wp_examination *out)
{
    struct worst worst = {0};
    unsigned kind = KIND((unsigned)facts->context->kind & 31u);
    unsigned preparation = PREP((unsigned)facts->context->preparation & 31u);
    for (size_t i = 0; i < RULES; i++) {
        struct wp_found found = {.position = NAN};
        if (!(rules[i].kinds & kind) || !(rules[i].preparations & preparation) ||
            !rules[i].check(facts, &found))
            continue;
        keep(&worst, &found, rules[i].staff_only);
        enum wp_verdict weight = wp_limit_rows[found.limit].weight;
        if (!rules[i].staff_only && weight > out->verdict)
            out->verdict = weight;
        if (rules[i].alone)
            break;
    }
    out->remark_count = worst.count;
    for (size_t i = 0; i < worst.count; i++) {
        wp_remark_write(facts->context, &worst.found[i], &out->remarks[i]);
        out->remarks[i].staff_only = worst.staff_only[i];
    }
}

static void measure(struct wp_facts *facts, struct wp_examination *out)
{
    const struct wp_curve *curve = facts->curve;
    facts->baseline_t =
        fmax(wp_window_mean(curve, 2500.0, 2650.0), wp_window_mean(curve, 1900.0, 2000.0));
    facts->noise = wp_quiet_noise(curve);
    wp_air_measure(facts);
    out->baseline = 100.0 * facts->baseline_t;
    out->noise = facts->noise;
    out->air_mark = facts->dioxide >= wp_limit(WP_LIMIT_CO2_MARK) || facts->vapour > 0.0;
}

enum wp_status wp_examine(const struct wp_spectrum *spectrum, const struct wp_curve *curve,
                          const struct wp_context *context, struct wp_examination *out)
{
    static const struct wp_context nothing_known;
    struct wp_facts facts = {.spectrum = spectrum, .curve = curve};
    enum wp_status status;
    memset(out, 0, sizeof *out);
    out->noise = NAN;
    out->baseline = NAN;
    facts.context = context ? context : &nothing_known;
    out->cut_off = cut_off_of(facts.context);
    struct wp_band_options options = {.cut_off = out->cut_off};
    wp_levels_find(curve, &facts.levels);
    wp_baseline_make(curve, &facts.baseline);
    out->band_count =
        wp_bands_find_with(curve, &facts.levels, &facts.baseline, &options, out->bands, &status);
    if (status || spectrum->technique != WP_INFRARED)
        return status;
    facts.bands = out->bands;
    facts.band_count = out->band_count;
    facts.low = fmax(out->cut_off, curve->x[0]);
    facts.high = curve->x[curve->count - 1];
    measure(&facts, out);
    run_rules(&facts, out);
    return WP_OK;
}
