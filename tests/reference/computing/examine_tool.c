/* Examines spectra that a reference check hands in, so that the checks can be written in another
 * language and share nothing with what they check.
 *
 *   examine_tool examine < records      one line of JSON a record
 *   examine_tool peaks LEAST < records  positions and prominences of the plain array, y only
 *   examine_tool likeness < records     0 different, 1 alike, 2 cannot tell, for each two records
 *
 * A record is a little-endian `struct head` followed by head.count abscissae and as many ordinates
 * (doubles). */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "peaks.h"
#include "spectrum/likeness.h"
#include "spectrum/remarks.h"

#define POINTS_MOST 2000000u

struct head {
    uint32_t count;
    int32_t y_unit; /* enum wp_y_unit */
    int32_t kind;
    int32_t preparation;
    int32_t plates;
    int32_t flags; /* 1: product has O-H; 2: staff, with all solvents listed; 4: processed; 8: x in
                    * um; 16: x in nm */
    int32_t scans;
    int32_t lab_scans;
    double resolution; /* 0: unknown */
    double lab_resolution;
    double lab_low;
    double lab_high;
};

static void print_bands(const struct wp_examination *e)
{
    printf("\"bands\":[");
    for (size_t i = 0; i < e->band_count; i++) {
        const struct wp_band *b = &e->bands[i];
        printf("%s{\"position\":%.6f,\"absorbance\":%.9g,\"transmittance\":%.9g,"
               "\"prominence\":%.9g,\"width\":%.6f,\"strength\":\"%s\",\"shape\":\"%s\","
               "\"saturated\":%s,\"air\":%s,\"index\":%zu}",
               i ? "," : "", b->position, b->absorbance, b->transmittance, b->prominence, b->width,
               wp_strength_text(b->strength), wp_shape_text(b->shape),
               b->saturated ? "true" : "false", b->air ? "true" : "false", b->index);
    }
    printf("]");
}

static void print_number(const char *name, double value)
{
    if (isnan(value))
        printf(",\"%s\":null", name);
    else
        printf(",\"%s\":%.9g", name, value);
}

static void print_examination(const struct wp_examination *e)
{
    printf("{");
    print_bands(e);
    printf(",\"verdict\":\"%s\",\"air_mark\":%s", wp_verdict_text(e->verdict),
           e->air_mark ? "true" : "false");
    print_number("noise", e->noise);
    print_number("baseline", e->baseline);
    printf(",\"remarks\":[");
    for (size_t i = 0; i < e->remark_count; i++) {
        const struct wp_remark *r = &e->remarks[i];
        printf("%s{\"code\":\"%s\",\"weight\":\"%s\",\"text\":\"%s\",\"advice\":\"%s\"",
               i ? "," : "", r->code, wp_verdict_text(r->weight), r->text, r->advice);
        print_number("position", r->position);
        printf("}");
    }
    printf("]}\n");
}

static void fill_context(const struct head *head, struct wp_context *context)
{
    static const char *const solvents[] = {"acetone", "dichloromethane", "ethyl acetate",
                                           "ethanol"};
    memset(context, 0, sizeof *context);
    context->kind = (enum wp_kind)head->kind;
    context->preparation = (enum wp_preparation)head->preparation;
    context->plates = (enum wp_plates)head->plates;
    context->product_has_oh = (head->flags & 1) != 0;
    context->staff = (head->flags & 2) != 0;
    context->lab_resolution = head->lab_resolution;
    context->lab_scans = head->lab_scans;
    context->lab_low = head->lab_low;
    context->lab_high = head->lab_high;
    context->cleaning_solvent = "propan-2-ol";
    if (context->staff) {
        context->solvent_count = sizeof solvents / sizeof solvents[0];
        memcpy(context->solvents, solvents, sizeof solvents);
    }
}

static int examine(const struct head *head, double *x, double *y)
{
    struct wp_spectrum spectrum = {.technique = WP_INFRARED, .x_unit = WP_X_CM1};
    struct wp_context context;
    struct wp_curve curve;
    struct wp_error error;
    struct wp_examination examination;
    spectrum.y_unit = (enum wp_y_unit)head->y_unit;
    spectrum.count = head->count;
    spectrum.x = x;
    spectrum.y = y;
    spectrum.resolution = head->resolution > 0.0 ? head->resolution : NAN;
    spectrum.scans = head->scans;
    spectrum.processed = (head->flags & 4) != 0;
    fill_context(head, &context);
    if (wp_curve_make(&spectrum, &curve, &error)) {
        fprintf(stderr, "examine_tool: %s\n", error.text);
        return 1;
    }
    if (wp_examine(&spectrum, &curve, &context, &examination))
        return 1;
    print_examination(&examination);
    wp_curve_release(&curve);
    return 0;
}

/* The second of each two records ends a line; a record without a print cannot be told from any. */
static int likeness(const struct head *head, double *x, double *y)
{
    static struct wp_print first;
    static int waiting;
    struct wp_spectrum spectrum = {.x = x, .y = y, .count = head->count};
    struct wp_curve curve;
    struct wp_print print;
    struct wp_error error;
    spectrum.y_unit = (enum wp_y_unit)head->y_unit;
    spectrum.x_unit = head->flags & 8 ? WP_X_UM : head->flags & 16 ? WP_X_NM : WP_X_CM1;
    if (wp_curve_make(&spectrum, &curve, &error)) {
        fprintf(stderr, "examine_tool: %s\n", error.text);
        return 1;
    }
    wp_print_make(&curve, &print);
    wp_curve_release(&curve);
    if (waiting)
        printf("%d\n", (int)wp_print_compare(&first, &print));
    else
        first = print;
    waiting = !waiting;
    return 0;
}

static int peaks(const struct head *head, const double *y, double least)
{
    size_t room = wp_peaks_room(head->count);
    struct wp_peak *found = calloc(room, sizeof *found);
    struct wp_top *tops = calloc(room, sizeof *tops);
    if (!found || !tops)
        return 1;
    size_t count = wp_peaks_find(y, head->count, least, found, tops);
    printf("[");
    for (size_t i = 0; i < count; i++)
        printf("%s[%u,%.17g]", i ? "," : "", (found[i].first + found[i].last) / 2,
               found[i].prominence);
    printf("]\n");
    free(found);
    free(tops);
    return 0;
}

static int handle(const char *mode, const struct head *head, double *values, double least)
{
    if (strcmp(mode, "examine") == 0)
        return examine(head, values, values + head->count);
    if (strcmp(mode, "likeness") == 0)
        return likeness(head, values, values + head->count);
    return peaks(head, values + head->count, least);
}

int main(int argc, char **argv)
{
    struct head head;
    const char *mode = argc > 1 ? argv[1] : "";
    bool known = strcmp(mode, "examine") == 0 || strcmp(mode, "likeness") == 0 ||
                 (strcmp(mode, "peaks") == 0 && argc > 2);
    if (!known) {
        fprintf(stderr, "usage: examine_tool examine | likeness | peaks LEAST\n");
        return 2;
    }
    while (fread(&head, sizeof head, 1, stdin) == 1) {
        if (head.count == 0 || head.count > POINTS_MOST)
            return 1;
        size_t numbers = 2 * (size_t)head.count;
        double *values = malloc(numbers * sizeof *values);
        bool whole = values && fread(values, sizeof *values, numbers, stdin) == numbers;
        int failed = !whole || handle(mode, &head, values, argc > 2 ? strtod(argv[2], NULL) : 0.0);
        free(values);
        if (failed)
            return 1;
    }
    return 0;
}
