/* JCAMP-DX 5.01: labels and AFFN tables. The compressed form is in write_difdup.c. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "dates.h"
#include "number.h"
#include "spectrum/number_text.h"
#include "spectrum/write.h"
#include "write_table.h"
#include "write_text.h"

#define LINE 80
#define TEXT_MOST 4096

/* Text that neither begins a label nor a comment: "##" and "$$" are parted by a blank. */
static void part(const char *text, char *out, size_t room)
{
    size_t used = 0;
    for (; *text && used + 2 < room; text++) {
        bool mark = (*text == '#' || *text == '$') && used && out[used - 1] == *text;
        if (mark)
            out[used++] = ' ';
        out[used++] = *text;
    }
    out[used] = '\0';
}

/* How many bytes of the `left` at `text` go on a line that has `room`: to a blank, if there is one
 * in its second half. */
static size_t fitting(const char *text, size_t left, size_t room)
{
    size_t size = wp_utf8_cut(text, left, room);
    if (size == left)
        return size;
    for (size_t blank = size; blank > size / 2; blank--)
        if (text[blank] == ' ')
            return blank;
    return size ? size : 1;
}

/* One label; its text is cut into lines of at most 80 bytes. */
static enum wp_status add_label(struct wp_bytes *out, const char *name, const char *text)
{
    char flat[TEXT_MOST];
    char clean[TEXT_MOST];
    char parted[2 * TEXT_MOST];
    size_t size = strnlen(text, TEXT_MOST);
    for (size_t i = 0; i < size; i++)
        flat[i] = text[i] == '\n' || text[i] == '\t' ? ' ' : text[i];
    wp_text_clean(flat, size, clean, sizeof clean);
    part(clean, parted, sizeof parted);
    enum wp_status status = wp_bytes_addf(out, "##%s=", name);
    const char *rest = parted;
    size_t room = LINE - strlen(name) - 3;
    while (*rest && !status) {
        size_t fits = fitting(rest, strlen(rest), room);
        status = wp_bytes_add(out, rest, fits);
        rest += fits;
        while (*rest == ' ')
            rest++;
        if (*rest && !status)
            status = wp_bytes_add_text(out, "\r\n");
        room = LINE;
    }
    return status ? status : wp_bytes_add_text(out, "\r\n");
}

static enum wp_status add_number(struct wp_bytes *out, const char *name, double value)
{
    char text[WP_NUMBER_TEXT];
    (void)wp_number_text(value, text);
    return wp_bytes_addf(out, "##%s=%s\r\n", name, text);
}

static const char *data_type(enum wp_technique technique, bool discrete)
{
    switch (technique) {
    case WP_INFRARED:
        return discrete ? "INFRARED PEAK TABLE" : "INFRARED SPECTRUM";
    case WP_RAMAN:
        return "RAMAN SPECTRUM";
    case WP_UV_VIS:
        return "UV/VIS SPECTRUM";
    default:
        return "SPECTRUM";
    }
}

static const char *x_units(const struct wp_spectrum *s)
{
    static const char *const names[] = {"1/CM", "MICROMETERS", "NANOMETERS"};
    const char *own = wp_spectrum_label(s, "XUNITS");
    return s->x_unit == WP_X_OTHER ? (own && own[0] ? own : "ARBITRARY UNITS") : names[s->x_unit];
}

static const char *y_units(const struct wp_spectrum *s)
{
    static const char *const names[] = {"TRANSMITTANCE", "% TRANSMITTANCE", "ABSORBANCE"};
    const char *own = wp_spectrum_label(s, "YUNITS");
    return s->y_unit == WP_Y_OTHER ? (own && own[0] ? own : "ARBITRARY UNITS") : names[s->y_unit];
}

/* Civil date from days since 1970-01-01 (H. Hinnant, "chrono-Compatible Low-Level Date
 * Algorithms"). */
static void civil(int64_t days, int *year, int *month, int *day)
{
    int64_t z = days + 719468;
    int64_t era = (z >= 0 ? z : z - 146096) / 146097;
    int64_t of_era = z - era * 146097;
    int64_t of_era_year = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
    int64_t of_year = of_era - (365 * of_era_year + of_era_year / 4 - of_era_year / 100);
    int64_t mp = (5 * of_year + 2) / 153;
    *day = (int)(of_year - (153 * mp + 2) / 5 + 1);
    *month = (int)(mp < 10 ? mp + 3 : mp - 9);
    *year = (int)(of_era_year + era * 400 + (*month <= 2));
}

static enum wp_status add_time(struct wp_bytes *out, const struct wp_file_time *time)
{
    if (!time->present)
        return WP_OK;
    int64_t seconds = time->utc_us / 1000000 - (time->utc_us % 1000000 < 0);
    int64_t days = seconds / 86400 - (seconds % 86400 < 0);
    int64_t rest = seconds - days * 86400;
    int year;
    int month;
    int day;
    civil(days, &year, &month, &day);
    enum wp_status status = wp_bytes_addf(out, "##LONG DATE=%04d/%02d/%02d", year, month, day);
    if (!status && time->has_time)
        status = wp_bytes_addf(out, " %02d:%02d:%02d%s", (int)(rest / 3600), (int)(rest / 60 % 60),
                               (int)(rest % 60), time->zone_known ? " +0000" : "");
    return status ? status : wp_bytes_add_text(out, "\r\n");
}

static enum wp_status add_origin(const struct wp_spectrum *s, const struct wp_write_notes *notes,
                                 struct wp_bytes *out)
{
    static const char *const kept[][2] = {
        {"SPECTROMETERDATASYSTEM", "SPECTROMETER/DATA SYSTEM"},
        {"INSTRUMENTPARAMETERS", "INSTRUMENT PARAMETERS"},
        {"DATAPROCESSING", "DATA PROCESSING"},
        {"STATE", "STATE"},
        {"PATHLENGTH", "PATH LENGTH"},
        {"CASREGISTRYNO", "CAS REGISTRY NO"},
        {"MOLFORM", "MOLFORM"},
    };
    const char *origin = notes && notes->origin ? notes->origin : wp_spectrum_label(s, "ORIGIN");
    const char *owner = notes && notes->owner ? notes->owner : wp_spectrum_label(s, "OWNER");
    const char *sample =
        notes && notes->sample ? notes->sample : wp_spectrum_label(s, "SAMPLEDESCRIPTION");
    const char *procedure =
        notes && notes->procedure ? notes->procedure : wp_spectrum_label(s, "SAMPLINGPROCEDURE");
    enum wp_status status = add_label(out, "ORIGIN", origin ? origin : "");
    if (!status)
        status = add_label(out, "OWNER", owner ? owner : "");
    if (!status)
        status = add_time(out, &s->time);
    if (!status && sample)
        status = add_label(out, "SAMPLE DESCRIPTION", sample);
    if (!status && procedure)
        status = add_label(out, "SAMPLING PROCEDURE", procedure);
    if (!status && notes && notes->accession)
        status = add_label(out, "$ACCESSION NUMBER", notes->accession);
    for (size_t i = 0; i < sizeof kept / sizeof kept[0] && !status; i++) {
        const char *value = wp_spectrum_label(s, kept[i][0]);
        if (value && value[0])
            status = add_label(out, kept[i][1], value);
    }
    if (!status && isfinite(s->resolution))
        status = add_number(out, "RESOLUTION", s->resolution);
    if (!status && s->scans > 0)
        status = wp_bytes_addf(out, "##.AVERAGES=%d\r\n", s->scans);
    return status;
}

static enum wp_status add_extremes(const struct wp_spectrum *s, struct wp_bytes *out)
{
    double low[2] = {INFINITY, INFINITY};
    double high[2] = {-INFINITY, -INFINITY};
    for (size_t i = 0; i < s->count; i++) {
        double v[2] = {s->x[i], s->y[i]};
        for (size_t j = 0; j < 2; j++) {
            low[j] = v[j] < low[j] ? v[j] : low[j];
            high[j] = v[j] > high[j] ? v[j] : high[j];
        }
    }
    enum wp_status status = add_number(out, "FIRSTX", s->x[0]);
    if (!status)
        status = add_number(out, "LASTX", s->x[s->count - 1]);
    if (!status && isfinite(s->y[0]))
        status = add_number(out, "FIRSTY", s->y[0]);
    static const char *const names[2][2] = {{"MINX", "MAXX"}, {"MINY", "MAXY"}};
    for (size_t j = 0; j < 2 && !status; j++) {
        if (!isfinite(low[j]))
            continue;
        status = add_number(out, names[j][0], low[j]);
        if (!status)
            status = add_number(out, names[j][1], high[j]);
    }
    return status ? status : wp_bytes_addf(out, "##NPOINTS=%zu\r\n", s->count);
}

enum wp_status wp_write_jcamp(const struct wp_spectrum *spectrum, enum wp_jcamp_form form,
                              const struct wp_write_notes *notes, struct wp_bytes *out)
{
    if (spectrum->count == 0)
        return WP_INVALID;
    struct wp_table_plan plan;
    wp_table_plan(spectrum, form, &plan);
    enum wp_status status = add_label(out, "TITLE", spectrum->title ? spectrum->title : "");
    if (!status)
        status = wp_bytes_add_text(out, "##JCAMP-DX=5.01 $$ Wavepost " WP_VERSION "\r\n");
    if (!status)
        status = add_label(out, "DATA TYPE", data_type(spectrum->technique, spectrum->discrete));
    if (!status)
        status = add_label(out, "DATA CLASS", plan.class_name);
    if (!status)
        status = add_origin(spectrum, notes, out);
    if (!status)
        status = add_label(out, "XUNITS", x_units(spectrum));
    if (!status)
        status = add_label(out, "YUNITS", y_units(spectrum));
    if (!status)
        status = add_number(out, "XFACTOR", plan.x_factor);
    if (!status)
        status = add_number(out, "YFACTOR", plan.y_factor);
    if (!status)
        status = add_extremes(spectrum, out);
    if (!status)
        status = wp_table_write(spectrum, &plan, out);
    return status ? status : wp_bytes_add_text(out, "##END=\r\n");
}
