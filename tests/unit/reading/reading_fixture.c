#include "reading_fixture.h"

struct wp_reading read_ok(const char *text)
{
    struct wp_reading reading;
    if (wp_read(text, strlen(text), NULL, &reading) != WP_OK)
        fail_msg("refused, line %ld: %s\n%s", reading.error.line, reading.error.text, text);
    return reading;
}

struct wp_reading read_bad(const char *text, enum wp_status status)
{
    struct wp_reading reading;
    assert_int_equal(wp_read(text, strlen(text), NULL, &reading), status);
    assert_int_equal(reading.error.status, status);
    assert_true(reading.error.text[0] != '\0');
    return reading;
}

const char *block(const char *extra, const char *table)
{
    static char text[65536];
    int size = snprintf(text, sizeof text,
                        "##TITLE=Film A\n##JCAMP-DX=4.24\n##DATA TYPE=INFRARED SPECTRUM\n"
                        "##ORIGIN=lab\n##OWNER=public domain\n##XUNITS=1/CM\n"
                        "##YUNITS=TRANSMITTANCE\n##XFACTOR=1\n##YFACTOR=0.001\n%s%s\n##END=\n",
                        extra, table);
    assert_in_range(size, 1, sizeof text - 1);
    return text;
}

bool warned(const struct wp_reading *reading, const char *label, const char *words)
{
    for (size_t i = 0; i < reading->warning_count; i++)
        if (strcmp(reading->warnings[i].label, label) == 0 &&
            strstr(reading->warnings[i].text, words))
            return true;
    for (size_t i = 0; i < reading->warning_count; i++)
        print_message("warning %s, line %ld: %s\n", reading->warnings[i].label,
                      reading->warnings[i].line, reading->warnings[i].text);
    return false;
}

long warned_line(const struct wp_reading *reading, const char *label)
{
    for (size_t i = 0; i < reading->warning_count; i++)
        if (strcmp(reading->warnings[i].label, label) == 0)
            return reading->warnings[i].line;
    return -1;
}

void expect_y(const struct wp_reading *reading, size_t spectrum, size_t count, const double *values)
{
    assert_true(reading->spectrum_count > spectrum);
    const struct wp_spectrum *s = &reading->spectra[spectrum];
    assert_int_equal(s->count, count);
    for (size_t i = 0; i < count; i++)
        if (!(s->y[i] == values[i] || (isnan(s->y[i]) && isnan(values[i]))))
            fail_msg("ordinate %zu is %.17g, not %.17g", i, s->y[i], values[i]);
}
