#include "spectrum/spectrum.h"

#include <stdlib.h>
#include <string.h>

#include "labels.h"

static void labels_free(struct wp_label *labels, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        free(labels[i].name);
        free(labels[i].value);
    }
    free(labels);
}

void wp_spectrum_release(struct wp_spectrum *spectrum)
{
    free(spectrum->title);
    free(spectrum->x);
    free(spectrum->y);
    labels_free(spectrum->labels, spectrum->label_count);
    memset(spectrum, 0, sizeof *spectrum);
}

void wp_reading_release(struct wp_reading *reading)
{
    for (size_t i = 0; i < reading->spectrum_count; i++)
        wp_spectrum_release(&reading->spectra[i]);
    free(reading->spectra);
    free(reading->warnings);
    memset(reading, 0, sizeof *reading);
}

bool wp_labels_copy(const struct wp_label *labels, size_t count, struct wp_label **copy,
                    size_t *copied)
{
    *copy = calloc(count ? count : 1, sizeof **copy);
    *copied = 0;
    if (!*copy)
        return false;
    for (size_t i = 0; i < count; i++) {
        struct wp_label *to = &(*copy)[(*copied)++];
        to->line = labels[i].line;
        to->name = strdup(labels[i].name);
        to->value = strdup(labels[i].value);
        if (!to->name || !to->value) {
            labels_free(*copy, *copied);
            *copy = NULL;
            *copied = 0;
            return false;
        }
    }
    return true;
}

static double *points_copy(const double *from, size_t count)
{
    double *copy = malloc((count ? count : 1) * sizeof *copy);
    if (copy && count)
        memcpy(copy, from, count * sizeof *copy);
    return copy;
}

enum wp_status wp_spectrum_copy(const struct wp_spectrum *from, struct wp_spectrum *copy)
{
    *copy = *from;
    copy->title = from->title ? strdup(from->title) : NULL;
    copy->x = points_copy(from->x, from->count);
    copy->y = points_copy(from->y, from->count);
    bool labels =
        wp_labels_copy(from->labels, from->label_count, &copy->labels, &copy->label_count);
    if (labels && copy->x && copy->y && (copy->title || !from->title))
        return WP_OK;
    wp_spectrum_release(copy);
    return WP_NO_MEMORY;
}

const char *wp_spectrum_label(const struct wp_spectrum *spectrum, const char *name)
{
    for (size_t i = 0; i < spectrum->label_count; i++)
        if (strcmp(spectrum->labels[i].name, name) == 0)
            return spectrum->labels[i].value;
    return NULL;
}

const char *wp_technique_text(enum wp_technique technique)
{
    switch (technique) {
    case WP_INFRARED:
        return "infrared";
    case WP_RAMAN:
        return "raman";
    case WP_UV_VIS:
        return "uv-vis";
    default:
        return "other";
    }
}

const char *wp_x_unit_text(enum wp_x_unit unit)
{
    switch (unit) {
    case WP_X_CM1:
        return "cm-1";
    case WP_X_UM:
        return "um";
    case WP_X_NM:
        return "nm";
    default:
        return "other";
    }
}

const char *wp_y_unit_text(enum wp_y_unit unit)
{
    switch (unit) {
    case WP_Y_TRANSMITTANCE:
        return "transmittance";
    case WP_Y_PERCENT:
        return "percent transmittance";
    case WP_Y_ABSORBANCE:
        return "absorbance";
    default:
        return "other";
    }
}

const char *wp_format_text(enum wp_format format)
{
    switch (format) {
    case WP_FORMAT_JCAMP:
        return "jcamp-dx";
    case WP_FORMAT_DELIMITED:
        return "delimited";
    default:
        return "unknown";
    }
}
