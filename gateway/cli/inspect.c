#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/digest.h"
#include "cli.h"
#include "spectrum/read.h"
#include "spectrum/remarks.h"
#include "views/spectrum_json.h"

#define FILES_MOST 10000

struct inspected {
    struct wp_reading reading;
    struct wp_examination *examinations;
    struct wp_film_check *films; /* is_film only where it is one of polystyrene */
    char sha256[WP_SHA256_HEX];
    bool hashed;
};

static void release(struct inspected *inspected)
{
    wp_reading_release(&inspected->reading);
    free(inspected->examinations);
    free(inspected->films);
}

static void examine_all(struct inspected *inspected)
{
    size_t count = inspected->reading.spectrum_count;
    inspected->examinations = count ? calloc(count, sizeof *inspected->examinations) : NULL;
    inspected->films = count ? calloc(count, sizeof *inspected->films) : NULL;
    for (size_t i = 0; inspected->examinations && inspected->films && i < count; i++) {
        struct wp_curve curve;
        struct wp_examination *examination = &inspected->examinations[i];
        examination->noise = examination->baseline = NAN;
        if (wp_curve_make(&inspected->reading.spectra[i], &curve, NULL) == WP_OK) {
            (void)wp_examine(&inspected->reading.spectra[i], &curve, NULL, examination);
            if (wp_film_check(&curve, &inspected->films[i]) != WP_OK)
                inspected->films[i].is_film = false;
            wp_curve_release(&curve);
        }
    }
}

static void inspect_file(const char *path, struct inspected *inspected)
{
    struct wp_bytes bytes = {0};
    memset(inspected, 0, sizeof *inspected);
    enum wp_status status =
        wp_cli_load(path, wp_read_limits_default.bytes, &bytes, &inspected->reading.error);
    if (!status) {
        unsigned char digest[WP_SHA256_SIZE];
        inspected->hashed = wp_sha256(bytes.data, bytes.size, digest) == WP_OK;
        wp_hex_encode(digest, sizeof digest, inspected->sha256);
        (void)wp_read(bytes.data ? bytes.data : "", bytes.size, NULL, &inspected->reading);
        examine_all(inspected);
    }
    wp_bytes_release(&bytes);
}

static void print_bands(const struct wp_examination *examination)
{
    printf("    %8s  %6s  %9s  %7s  %s\n", "cm-1", "%T", "strength", "width", "shape");
    for (size_t i = 0; i < examination->band_count; i++) {
        const struct wp_band *band = &examination->bands[i];
        printf("    %8.1f  %6.1f  %9s  %7.1f  %s%s%s\n", band->position, 100 * band->transmittance,
               wp_strength_text(band->strength), band->width, wp_shape_text(band->shape),
               band->saturated ? ", off scale" : "", band->air ? ", air" : "");
    }
}

static void print_film(const struct wp_film_check *check)
{
    printf("  polystyrene film: %s; mean shift %+.2f cm-1; resolution %s; depth at 1583 cm-1 "
           "%.3f A\n",
           check->passed ? "within the tolerances" : "NOT within the tolerances", check->mean_shift,
           check->resolution_ok ? "sufficient" : "not sufficient", check->depth_1583);
    for (size_t i = 0; i < check->band_count; i++)
        printf("    %8.1f +/- %.1f: found %.2f%s\n", check->bands[i].expected,
               check->bands[i].tolerance, check->bands[i].found,
               check->bands[i].within ? "" : ", out of tolerance");
}

static void print_spectrum(const struct wp_spectrum *spectrum,
                           const struct wp_examination *examination,
                           const struct wp_film_check *film)
{
    if (spectrum->title && spectrum->title[0])
        printf("  \"%s\": ", spectrum->title);
    else
        printf("  (no title): ");
    printf("%s, %zu point%s, ", wp_technique_text(spectrum->technique), spectrum->count,
           spectrum->count == 1 ? "" : "s");
    if (spectrum->count)
        printf("%.2f to %.2f %s, ", spectrum->x[0], spectrum->x[spectrum->count - 1],
               wp_x_unit_text(spectrum->x_unit));
    printf("%s", wp_y_unit_text(spectrum->y_unit));
    if (isfinite(spectrum->resolution))
        printf(", resolution %g cm-1", spectrum->resolution);
    printf("\n");
    if (!examination)
        return;
    printf("  verdict: %s\n", wp_verdict_words(examination->verdict));
    for (size_t i = 0; i < examination->remark_count; i++) {
        printf("    %s\n", examination->remarks[i].text);
        if (examination->remarks[i].advice[0])
            printf("      %s\n", examination->remarks[i].advice);
    }
    if (examination->band_count)
        print_bands(examination);
    if (film && film->is_film)
        print_film(film);
}

/* A warning may concern the whole file (line 0) or no label. */
static void print_warning(const struct wp_warning *warning)
{
    printf("  ");
    if (warning->line > 0)
        printf("line %ld%s", warning->line, warning->label[0] ? ", " : ": ");
    if (warning->label[0])
        printf("%s: ", warning->label);
    printf("%s\n", warning->text);
}

static void print_text(const char *path, const struct inspected *inspected)
{
    const struct wp_reading *reading = &inspected->reading;
    if (reading->format != WP_FORMAT_UNKNOWN)
        printf("%s: %s%s%s\n", path, wp_format_text(reading->format),
               reading->dialect[0] ? ", " : "", reading->dialect);
    if (reading->error.status && reading->error.line)
        fprintf(stderr, "%s:%ld: %s\n", path, reading->error.line, reading->error.text);
    else if (reading->error.status)
        fprintf(stderr, "%s: %s\n", path, reading->error.text);
    for (size_t i = 0; i < reading->warning_count; i++)
        print_warning(&reading->warnings[i]);
    if (reading->warnings_dropped)
        printf("  and %zu more warnings\n", reading->warnings_dropped);
    for (size_t i = 0; i < reading->spectrum_count; i++)
        print_spectrum(&reading->spectra[i],
                       inspected->examinations ? &inspected->examinations[i] : NULL,
                       inspected->films ? &inspected->films[i] : NULL);
}

static bool print_json(const char *path, const struct inspected *inspected, bool points, bool first)
{
    char clean[4096];
    wp_text_clean(path, strlen(path), clean, sizeof clean);
    cJSON *object = wp_json_reading(clean, inspected->hashed ? inspected->sha256 : NULL,
                                    &inspected->reading, inspected->examinations, points);
    const cJSON *spectra = cJSON_GetObjectItemCaseSensitive(object, "spectra");
    for (size_t i = 0; inspected->films && i < inspected->reading.spectrum_count; i++)
        if (inspected->films[i].is_film)
            cJSON_AddItemToObject(cJSON_GetArrayItem(spectra, (int)i), "film_check",
                                  wp_json_film(&inspected->films[i]));
    char *text = object ? cJSON_PrintUnformatted(object) : NULL;
    if (text)
        printf("%s%s", first ? "" : ",\n", text);
    free(text);
    cJSON_Delete(object);
    return text != NULL;
}

int wp_cli_inspect(int argc, char **argv)
{
    struct wp_option options[] = {{"json", true, NULL}, {"points", true, NULL}, {0}};
    const char **files = calloc(FILES_MOST, sizeof *files);
    struct wp_words words = {.options = options, .words = files};
    if (!files)
        return wp_cli_fail("out of memory");
    bool good = wp_words_parse(argc, argv, 2, &words, FILES_MOST);
    if (!good || !words.count) {
        free(files);
        return good ? wp_cli_usage("inspect needs a file") : WP_EXIT_USAGE;
    }
    bool json = wp_words_value(&words, "json") != NULL, all = true;
    if (json)
        printf("[");
    for (size_t i = 0; i < words.count; i++) {
        struct inspected inspected;
        inspect_file(files[i], &inspected);
        all = all && !inspected.reading.error.status;
        if (json)
            all = print_json(files[i], &inspected, wp_words_value(&words, "points") != NULL,
                             i == 0) &&
                  all;
        else
            print_text(files[i], &inspected);
        release(&inspected);
    }
    if (json)
        printf("]\n");
    free(files);
    return all ? WP_EXIT_DONE : WP_EXIT_FAILED;
}
