#include "views/spectrum_json.h"
#include "spectrum/number_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"

static void add_number(cJSON *object, const char *name, double value)
{
    if (isfinite(value))
        cJSON_AddNumberToObject(object, name, value);
    else
        cJSON_AddNullToObject(object, name);
}

/* Rounded for people and programs alike: no reader wants 1601.2999999999999. */
static void add_rounded(cJSON *object, const char *name, double value, double unit)
{
    add_number(object, name, isfinite(value) ? round(value / unit) * unit : value);
}

static cJSON *band_json(const struct wp_band *band)
{
    cJSON *object = cJSON_CreateObject();
    add_rounded(object, "position", band->position, 0.01);
    add_rounded(object, "transmittance", band->transmittance, 1e-5);
    add_rounded(object, "absorbance", band->absorbance, 1e-5);
    add_rounded(object, "prominence", band->prominence, 1e-5);
    add_rounded(object, "width", band->width, 0.01);
    cJSON_AddStringToObject(object, "strength", wp_strength_text(band->strength));
    cJSON_AddStringToObject(object, "shape", wp_shape_text(band->shape));
    if (band->saturated)
        cJSON_AddTrueToObject(object, "off_scale");
    if (band->air)
        cJSON_AddTrueToObject(object, "air");
    return object;
}

static cJSON *remark_json(const struct wp_remark *remark)
{
    cJSON *object = cJSON_CreateObject();
    cJSON_AddStringToObject(object, "code", remark->code);
    cJSON_AddStringToObject(object, "text", remark->text);
    cJSON_AddStringToObject(object, "advice", remark->advice);
    cJSON_AddStringToObject(object, "weight", wp_verdict_text(remark->weight));
    if (isfinite(remark->position))
        add_rounded(object, "position", remark->position, 0.1);
    if (remark->staff_only)
        cJSON_AddTrueToObject(object, "staff_only");
    return object;
}

static void add_findings(cJSON *object, const struct wp_examination *examination)
{
    cJSON *bands = cJSON_AddArrayToObject(object, "bands");
    for (size_t i = 0; examination && i < examination->band_count; i++)
        cJSON_AddItemToArray(bands, band_json(&examination->bands[i]));
    cJSON_AddStringToObject(object, "verdict",
                            wp_verdict_text(examination ? examination->verdict : WP_USABLE));
    cJSON *remarks = cJSON_AddArrayToObject(object, "remarks");
    for (size_t i = 0; examination && i < examination->remark_count; i++)
        cJSON_AddItemToArray(remarks, remark_json(&examination->remarks[i]));
}

cJSON *wp_json_film(const struct wp_film_check *check)
{
    cJSON *object = cJSON_CreateObject();
    cJSON_AddBoolToObject(object, "passed", check->passed);
    add_rounded(object, "mean_shift", check->mean_shift, 0.001);
    add_rounded(object, "noise", check->noise, 1e-4);
    cJSON_AddBoolToObject(object, "resolution_ok", check->resolution_ok);
    add_rounded(object, "depth_1583", check->depth_1583, 1e-4);
    add_rounded(object, "depth_2850", check->depth_2850, 1e-4);
    cJSON *bands = cJSON_AddArrayToObject(object, "bands");
    for (size_t i = 0; i < check->band_count; i++) {
        cJSON *band = cJSON_CreateObject();
        add_number(band, "expected", check->bands[i].expected);
        add_number(band, "tolerance", check->bands[i].tolerance);
        add_rounded(band, "found", check->bands[i].found, 0.001);
        cJSON_AddBoolToObject(band, "within", check->bands[i].within);
        cJSON_AddItemToArray(bands, band);
    }
    return object;
}

cJSON *wp_json_examination(const struct wp_examination *examination)
{
    cJSON *object = cJSON_CreateObject();
    add_findings(object, examination);
    cJSON_AddBoolToObject(object, "air", examination->air_mark);
    add_rounded(object, "cut_off", examination->cut_off, 0.1);
    add_rounded(object, "noise", examination->noise, 1e-4);
    add_rounded(object, "baseline", examination->baseline, 0.01);
    return object;
}

static enum wp_status add_double(struct wp_bytes *text, double value)
{
    char digits[WP_NUMBER_TEXT];
    return wp_bytes_add(text, digits, wp_number_text(value, digits));
}

/* Millions of points as nodes of a tree would take a hundred bytes each: they go in as text. */
static void add_array(cJSON *object, const char *name, const double *values, size_t count)
{
    struct wp_bytes text;
    wp_bytes_init(&text, SIZE_MAX / 4);
    enum wp_status status = wp_bytes_add_byte(&text, '[');
    for (size_t i = 0; !status && i < count; i++) {
        if (i)
            status = wp_bytes_add_byte(&text, ',');
        if (!status)
            status = isfinite(values[i]) ? add_double(&text, values[i])
                                         : wp_bytes_add_text(&text, "null");
    }
    if (!status)
        status = wp_bytes_add_byte(&text, ']');
    cJSON_AddItemToObject(object, name, status ? NULL : cJSON_CreateRaw(text.data));
    wp_bytes_release(&text);
}

static void add_values(cJSON *object, const struct wp_spectrum *spectrum)
{
    cJSON *values = cJSON_AddObjectToObject(object, "values");
    add_array(values, "x", spectrum->x, spectrum->count);
    add_array(values, "y", spectrum->y, spectrum->count);
}

cJSON *wp_json_spectrum(const struct wp_spectrum *spectrum,
                        const struct wp_examination *examination, bool points)
{
    cJSON *object = cJSON_CreateObject();
    cJSON_AddStringToObject(object, "title", spectrum->title ? spectrum->title : "");
    cJSON_AddStringToObject(object, "technique", wp_technique_text(spectrum->technique));
    cJSON_AddNumberToObject(object, "points", (double)spectrum->count);
    add_number(object, "resolution", spectrum->resolution);
    cJSON *x = cJSON_AddObjectToObject(object, "x");
    cJSON_AddStringToObject(x, "unit", wp_x_unit_text(spectrum->x_unit));
    add_number(x, "first", spectrum->count ? spectrum->x[0] : NAN);
    add_number(x, "last", spectrum->count ? spectrum->x[spectrum->count - 1] : NAN);
    cJSON *y = cJSON_AddObjectToObject(object, "y");
    cJSON_AddStringToObject(y, "unit", wp_y_unit_text(spectrum->y_unit));
    add_findings(object, examination);
    if (points)
        add_values(object, spectrum);
    return object;
}

static void add_error(cJSON *object, const struct wp_error *error)
{
    if (!error->status) {
        cJSON_AddNullToObject(object, "error");
        return;
    }
    cJSON *item = cJSON_AddObjectToObject(object, "error");
    cJSON_AddNumberToObject(item, "line", (double)error->line);
    if (error->column)
        cJSON_AddNumberToObject(item, "column", (double)error->column);
    cJSON_AddStringToObject(item, "text", error->text);
}

cJSON *wp_json_reading(const char *file, const char *sha256, const struct wp_reading *reading,
                       const struct wp_examination *examinations, bool points)
{
    cJSON *object = cJSON_CreateObject();
    cJSON_AddStringToObject(object, "file", file);
    if (sha256)
        cJSON_AddStringToObject(object, "sha256", sha256);
    else
        cJSON_AddNullToObject(object, "sha256");
    cJSON_AddStringToObject(object, "format", wp_format_text(reading->format));
    cJSON_AddStringToObject(object, "dialect", reading->dialect);
    add_error(object, &reading->error);
    cJSON *warnings = cJSON_AddArrayToObject(object, "warnings");
    for (size_t i = 0; i < reading->warning_count; i++) {
        cJSON *warning = cJSON_CreateObject();
        cJSON_AddNumberToObject(warning, "line", (double)reading->warnings[i].line);
        cJSON_AddStringToObject(warning, "label", reading->warnings[i].label);
        cJSON_AddStringToObject(warning, "text", reading->warnings[i].text);
        cJSON_AddItemToArray(warnings, warning);
    }
    cJSON *spectra = cJSON_AddArrayToObject(object, "spectra");
    for (size_t i = 0; i < reading->spectrum_count; i++)
        cJSON_AddItemToArray(
            spectra,
            wp_json_spectrum(&reading->spectra[i], examinations ? &examinations[i] : NULL, points));
    return object;
}
