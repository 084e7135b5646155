#include "read_fuzz.h"

#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"
#include "spectrum/read.h"
#include "spectrum/write.h"

static const struct wp_read_limits limits = {
    .bytes = 1 << 20, .points = 20000, .spectra = 16, .total = 40000, .depth = 8};

#define PROMISE(condition)                                                                         \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            fprintf(stderr, "broken promise, line %d: %s\n", __LINE__, #condition);                \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

static double largest(const double *values, size_t count)
{
    double most = 0.0;
    for (size_t i = 0; i < count; i++)
        most = fabs(values[i]) > most ? fabs(values[i]) : most;
    return most;
}

/* The fewest decimals that all abscissae are written with, as a unit; 0 if there is none. */
static double last_digit(const double *values, size_t count)
{
    for (double power = 1.0; power <= 1e15; power *= 10.0) {
        size_t i = 0;
        while (i < count && nearbyint(values[i] * power) / power == values[i])
            i++;
        if (i == count)
            return 1.0 / power;
    }
    return 0.0;
}

static void check_spectrum(const struct wp_spectrum *s)
{
    PROMISE(s->count > 0 && s->count <= limits.points);
    PROMISE(s->title && s->x && s->y);
    PROMISE(wp_utf8_valid(s->title, strlen(s->title)) && !strchr(s->title, '\n'));
    PROMISE(s->label_count <= WP_LABELS_MOST);
    for (size_t i = 0; i < s->count; i++) {
        PROMISE(isfinite(s->x[i]));
        PROMISE(!isinf(s->y[i]));
    }
    for (size_t i = 0; i < s->label_count; i++) {
        const char *value = s->labels[i].value;
        PROMISE(strlen(value) <= WP_LABEL_VALUE && wp_utf8_valid(value, strlen(value)));
    }
}

static void compare(const struct wp_spectrum *a, const struct wp_spectrum *b, double x_slack)
{
    double x_room = x_slack + 8.0 * DBL_EPSILON * largest(a->x, a->count);
    double y_room = 1e-14 * largest(a->y, a->count) + DBL_MIN;
    PROMISE(a->count == b->count);
    for (size_t i = 0; i < a->count; i++) {
        PROMISE(fabs(a->x[i] - b->x[i]) <= x_room);
        PROMISE(isnan(a->y[i]) ? isnan(b->y[i]) : fabs(a->y[i] - b->y[i]) <= y_room);
    }
    if (a->x_unit != WP_X_OTHER)
        PROMISE(a->x_unit == b->x_unit);
    if (a->y_unit == WP_Y_ABSORBANCE || a->y_unit == WP_Y_PERCENT)
        PROMISE(a->y_unit == b->y_unit);
}

static void check_written(const struct wp_spectrum *s, enum wp_jcamp_form form)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 16 << 20);
    PROMISE(wp_write_jcamp(s, form, NULL, &bytes) == WP_OK);
    size_t column = 0;
    for (size_t i = 0; i < bytes.size; i++) {
        column = bytes.data[i] == '\n' ? 0 : column + 1;
        PROMISE(column <= 81); /* CR is the 81st */
    }
    struct wp_reading again;
    enum wp_status status = wp_read(bytes.data, bytes.size, NULL, &again);
    if (status)
        fprintf(stderr, "line %ld: %s\n%.2000s\n", again.error.line, again.error.text, bytes.data);
    PROMISE(status == WP_OK && again.spectrum_count == 1);
    double slack = form == WP_JCAMP_DIFDUP ? 0.5 * last_digit(s->x, s->count) : 0.0;
    compare(s, &again.spectra[0], slack);
    wp_reading_release(&again);
    wp_bytes_release(&bytes);
}

/* CSV has no place for what makes a table without units or with very few points a spectrum, so
 * only what is read again is compared. */
static void check_csv(const struct wp_spectrum *s)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 16 << 20);
    PROMISE(wp_write_csv(s, &bytes) == WP_OK);
    struct wp_reading again;
    enum wp_status status = wp_read(bytes.data, bytes.size, NULL, &again);
    if (status == WP_OK && again.spectrum_count == 1 && again.spectra[0].count == s->count)
        for (size_t i = 0; i < s->count; i++)
            PROMISE(again.spectra[0].x[i] == s->x[i] &&
                    (again.spectra[0].y[i] == s->y[i] ||
                     (isnan(s->y[i]) && isnan(again.spectra[0].y[i]))));
    wp_reading_release(&again);
    wp_bytes_release(&bytes);
}

void read_and_check(const uint8_t *data, size_t size)
{
    struct wp_reading reading;
    /* An exact copy, so that reading one byte past the end is seen. */
    uint8_t *copy = malloc(size ? size : 1);
    if (!copy)
        return;
    memcpy(copy, data, size);
    enum wp_status status = wp_read(copy, size, &limits, &reading);
    free(copy);
    PROMISE(status == reading.error.status);
    PROMISE(status == WP_OK || status == WP_INVALID || status == WP_TOO_LARGE);
    PROMISE(status != WP_OK || reading.spectrum_count > 0);
    PROMISE(status == WP_OK || reading.error.text[0]);
    PROMISE(reading.spectrum_count <= limits.spectra);
    PROMISE(reading.warning_count <= WP_WARNINGS_MOST);
    for (size_t i = 0; i < reading.spectrum_count; i++) {
        const struct wp_spectrum *s = &reading.spectra[i];
        check_spectrum(s);
        if (i)
            continue;
        check_written(s, WP_JCAMP_AFFN);
        check_written(s, WP_JCAMP_DIFDUP);
        check_csv(s);
    }
    wp_reading_release(&reading);
}
