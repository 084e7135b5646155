/* kinds.c - one sheet of each kind, invented from end to end. */
#include <math.h>
#include <stdlib.h>

#include "fixture.h"

/* Looks like an ester with an acid's hump. */
static const struct fixture_band ester[] = {
    {3000, .22, 240}, {2870, .17, 160}, {2700, .14, 150}, {2590, .12, 120}, {1754, .80, 13},
    {1690, .95, 20},  {1606, .52, 10},  {1575, .16, 10},  {1485, .26, 9},   {1458, .45, 10},
    {1420, .34, 14},  {1370, .36, 10},  {1306, .66, 15},  {1222, .55, 13},  {1188, .88, 14},
    {1135, .20, 10},  {1094, .42, 9},   {1040, .10, 8},   {1013, .36, 9},   {970, .14, 9},
    {918, .40, 15},   {840, .26, 9},    {805, .24, 9},    {755, .60, 9},    {704, .36, 9},
    {600, .20, 12}};

/* Looks like an alcohol with an aromatic ring, drawn too thick. */
static const struct fixture_band alcohol[] = {
    {3335, 1.1, 260}, {3086, .22, 14}, {3063, .34, 14},  {3030, .55, 14}, {2930, .42, 50},
    {2873, .50, 40},  {2349, .05, 40}, {1951, .07, 24},  {1876, .06, 24}, {1811, .06, 24},
    {1606, .18, 10},  {1496, .78, 8},  {1454, 1.15, 12}, {1370, .55, 60}, {1208, .66, 18},
    {1080, .48, 14},  {1022, 1.5, 30}, {912, .26, 12},   {843, .20, 10},  {735, 1.7, 16},
    {698, 2.2, 12},   {596, .66, 20},  {465, .30, 14}};

struct holder {
    struct fixture_kind kind;
    struct wp_spectrum spectra[1 + WP_SHEET_OTHERS_MOST];
    struct wp_examination examination;
};

#define COUNT(array) (sizeof(array) / sizeof *(array))

static struct wp_sheet_input common(const struct holder *holder)
{
    return (struct wp_sheet_input){
        .spectrum = &holder->spectra[0],
        .examination = &holder->examination,
        .accession = "20461X",
        .persons = {"Maya Rosendahl"},
        .person_count = 1,
        .author_id = "person-481",
        .course = "Chem 231, Organic Laboratory",
        .section = "014, Tuesday afternoon",
        .experiment = "6, An ester",
        .sample = "Acetylsalicylic acid, recrystallised",
        .kind = WP_KIND_SAMPLE,
        .preparation = WP_PREP_MULL,
        .plates = WP_PLATES_NACL,
        .instrument = "IR-2",
        .place = "Science, floor 2, room 214, bench C",
        .measured_at = "12 March 2026, 14:32",
        .scans = 16,
        .resolution = 4,
        .named_by = "signed on at the bench",
        .file_name = "ESTER_02.DX",
        .created_us = INT64_C(1773326000000000),
    };
}

static void infrared(struct holder *holder, size_t slot, double scale, double base)
{
    struct fixture_shape shape = {4000, 400, 1801, base, 0.2, scale, 7 + slot};
    fixture_infrared(&holder->spectra[slot], ester, COUNT(ester), &shape);
}

static void describe(struct holder *holder, const struct fixture_band *bands, size_t count,
                     double cut_off)
{
    fixture_describe(&holder->spectra[0], bands, count, cut_off, false, &holder->examination);
}

static void transmittance(struct holder *holder)
{
    holder->kind.name = "transmittance";
    infrared(holder, 0, 1, 93);
    describe(holder, ester, COUNT(ester), 650);
    holder->kind.input = common(holder);
}

static void off_scale(struct holder *holder)
{
    holder->kind.name = "off-scale";
    struct fixture_shape shape = {4000, 400, 1801, 91, 0.2, 1.6, 9};
    fixture_infrared(&holder->spectra[0], alcohol, COUNT(alcohol), &shape);
    describe(holder, alcohol, COUNT(alcohol), 0);
    holder->examination.air_mark = true;
    struct wp_sheet_input input = common(holder);
    input.sample = "Benzyl alcohol, distilled";
    input.experiment = "4, An alcohol";
    input.preparation = WP_PREP_LIQUID_FILM;
    input.plates = WP_PLATES_KBR;
    input.options.compress = true;
    input.clock_corrected = true;
    input.processed = true;
    holder->kind.input = input;
}

static void unclaimed(struct holder *holder)
{
    holder->kind.name = "unclaimed";
    infrared(holder, 0, 0.8, 90);
    describe(holder, ester, COUNT(ester), 650);
    struct wp_sheet_input input = common(holder);
    input.person_count = 0;
    input.claim_code = "K7QP4M";
    input.named_by = "nobody was signed on";
    input.options.ordinate = WP_SHEET_ABSORBANCE;
    input.options.paper = WP_SHEET_LETTER;
    holder->kind.input = input;
}

static void scripts(struct holder *holder)
{
    transmittance(holder);
    holder->kind.name = "scripts";
    struct wp_sheet_input *input = &holder->kind.input;
    static const char *const persons[] = {"Łucja Đặng-Ødegård", "Ελένη Παπαδάκη", "Юлия Щербакова",
                                          "ليلى الحداد",        "נועה כהן",       "अनन्या शर्मा",
                                          "田中 さくら",        "김하늘"};
    input->person_count = COUNT(persons);
    for (size_t i = 0; i < COUNT(persons); i++)
        input->persons[i] = persons[i];
}

static void overlay(struct holder *holder)
{
    transmittance(holder);
    holder->kind.name = "overlay";
    infrared(holder, 1, 0.55, 90);
    infrared(holder, 2, 0.3, 84);
    struct wp_sheet_input *input = &holder->kind.input;
    input->others[0] = (struct wp_sheet_other){&holder->spectra[1], "Maya R., crude", "5 March"};
    input->others[1] =
        (struct wp_sheet_other){&holder->spectra[2], "Reference of the course", NULL};
    input->other_count = 2;
}

/* As many as there can be, with names of every length: the key takes two lines. */
static void overlay_five(struct holder *holder)
{
    transmittance(holder);
    holder->kind.name = "overlay-five";
    static const struct {
        const char *name, *date;
    } others[WP_SHEET_OTHERS_MOST] = {
        {"20377M Acetylsalicylic acid, crude", "5 March 2026, 14:20"},
        {"20380Q Acetylsalicylic acid, second crop", "5 March 2026, 15:02"},
        {"20391D Salicylic acid", "5 March 2026, 15:40"},
        {"20012R Acetylsalicylic acid, reference of the course", "8 January 2026, 09:15"}};
    struct wp_sheet_input *input = &holder->kind.input;
    for (size_t i = 0; i < COUNT(others); i++) {
        infrared(holder, i + 1, 0.62 - 0.12 * (double)i, 91 - 3 * (double)i);
        input->others[i] =
            (struct wp_sheet_other){&holder->spectra[i + 1], others[i].name, others[i].date};
    }
    input->other_count = COUNT(others);
}

static void overlay_five_large(struct holder *holder)
{
    overlay_five(holder);
    holder->kind.name = "overlay-five-large";
    holder->kind.input.options.large_print = true;
}

static void large_print(struct holder *holder)
{
    transmittance(holder);
    holder->kind.name = "large-print";
    holder->kind.input.options.large_print = true;
}

/* Another technique knows neither plates nor preparation. */
static struct wp_sheet_input bare(const struct holder *holder)
{
    struct wp_sheet_input input = common(holder);
    input.examination = NULL;
    input.preparation = WP_PREP_UNKNOWN;
    input.plates = WP_PLATES_UNKNOWN;
    input.resolution = 0;
    input.scans = 0;
    return input;
}

static void raman(struct holder *holder)
{
    holder->kind.name = "raman";
    struct wp_spectrum *spectrum = &holder->spectra[0];
    fixture_blank(spectrum, WP_RAMAN, WP_X_CM1, WP_Y_OTHER, 200, 3200, 3001);
    for (size_t i = 0; i < spectrum->count; i++)
        for (size_t k = 0; k < COUNT(ester); k++) {
            double d = (spectrum->x[i] - ester[k].position) / (ester[k].width / 3);
            spectrum->y[i] += 42000 * ester[k].height / (1 + d * d) + 60;
        }
    holder->kind.input = bare(holder);
    holder->kind.input.instrument = "RA-1";
}

static void uv_vis(struct holder *holder)
{
    holder->kind.name = "uv-vis";
    struct wp_spectrum *spectrum = &holder->spectra[0];
    fixture_blank(spectrum, WP_UV_VIS, WP_X_NM, WP_Y_ABSORBANCE, 220, 600, 761);
    for (size_t i = 0; i < spectrum->count; i++) {
        double x = spectrum->x[i];
        spectrum->y[i] = 1.31 * exp(-pow((x - 276) / 15, 2)) + 0.7 * exp(-pow((x - 229) / 12, 2)) +
                         0.22 * exp(-pow((x - 402) / 40, 2)) + 0.008;
        /* The lamps change over here, and this file leaves the points out. */
        if (x > 340 && x < 346)
            spectrum->y[i] = NAN;
    }
    holder->kind.input = bare(holder);
    holder->kind.input.instrument = "UV-1";
    holder->kind.input.preparation = WP_PREP_SOLUTION;
}

static void peak_table(struct holder *holder)
{
    holder->kind.name = "peak-table";
    struct wp_spectrum *spectrum = &holder->spectra[0];
    fixture_blank(spectrum, WP_INFRARED, WP_X_CM1, WP_Y_PERCENT, 4000, 400, COUNT(ester));
    spectrum->discrete = true;
    for (size_t i = 0; i < COUNT(ester); i++) {
        spectrum->x[i] = ester[i].position;
        spectrum->y[i] = 100 * pow(10, -ester[i].height);
    }
    holder->kind.input = common(holder);
    holder->kind.input.examination = NULL;
}

struct fixture_kind *fixture_kind_new(size_t index)
{
    static void (*const make[FIXTURE_KINDS])(struct holder *) = {
        transmittance,      off_scale,   unclaimed, scripts, overlay,   overlay_five,
        overlay_five_large, large_print, raman,     uv_vis,  peak_table};
    struct holder *holder = calloc(1, sizeof *holder);
    if (!holder)
        abort();
    make[index](holder);
    return &holder->kind;
}

void fixture_kind_free(struct fixture_kind *kind)
{
    struct holder *holder = (struct holder *)kind;
    for (size_t i = 0; holder && i < COUNT(holder->spectra); i++)
        wp_spectrum_release(&holder->spectra[i]);
    free(holder);
}
