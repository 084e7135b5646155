/* Prints what the reader finds in files, for comparison by other programs: one JSON object a line.
 *
 * values_tool FILE...                 reads each file
 * values_tool --through FORM FILE...  writes the first spectrum as jcamp, jcamp-difdup or csv and
 *                                     prints what reading that gives
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "spectrum/read.h"
#include "spectrum/write.h"

static void print_text(const char *text)
{
    putchar('"');
    for (; *text; text++) {
        if (*text == '"' || *text == '\\')
            printf("\\%c", *text);
        else if ((unsigned char)*text < 0x20)
            printf("\\u%04x", *text);
        else
            putchar(*text);
    }
    putchar('"');
}

static void print_values(const char *name, const double *values, size_t count)
{
    printf("\"%s\":[", name);
    for (size_t i = 0; i < count; i++) {
        if (isnan(values[i]))
            printf("%snull", i ? "," : "");
        else
            printf("%s%.17g", i ? "," : "", values[i]);
    }
    putchar(']');
}

static void print_spectrum(const struct wp_spectrum *s)
{
    printf("{\"title\":");
    print_text(s->title);
    printf(",\"technique\":\"%s\",\"xunit\":\"%s\",\"yunit\":\"%s\",",
           wp_technique_text(s->technique), wp_x_unit_text(s->x_unit), wp_y_unit_text(s->y_unit));
    print_values("x", s->x, s->count);
    putchar(',');
    print_values("y", s->y, s->count);
    putchar('}');
}

static void print_reading(const char *file, const struct wp_reading *reading)
{
    printf("{\"file\":");
    print_text(file);
    printf(",\"format\":\"%s\",\"dialect\":\"%s\",\"status\":\"%s\",\"line\":%ld,\"error\":",
           wp_format_text(reading->format), reading->dialect, wp_status_name(reading->error.status),
           reading->error.line);
    print_text(reading->error.text);
    printf(",\"warnings\":[");
    for (size_t i = 0; i < reading->warning_count; i++) {
        printf("%s{\"line\":%ld,\"label\":", i ? "," : "", reading->warnings[i].line);
        print_text(reading->warnings[i].label);
        printf(",\"text\":");
        print_text(reading->warnings[i].text);
        putchar('}');
    }
    printf("],\"spectra\":[");
    for (size_t i = 0; i < reading->spectrum_count; i++) {
        if (i)
            putchar(',');
        print_spectrum(&reading->spectra[i]);
    }
    printf("]}\n");
}

static char *slurp(const char *file, size_t *size)
{
    FILE *f = fopen(file, "rb");
    if (!f)
        return NULL;
    char *bytes = NULL;
    if (fseek(f, 0, SEEK_END) == 0) {
        long length = ftell(f);
        rewind(f);
        bytes = malloc((size_t)length + 1);
        *size = bytes ? fread(bytes, 1, (size_t)length, f) : 0;
    }
    fclose(f);
    return bytes;
}

static void write_again(const char *form, struct wp_reading *reading)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, (size_t)1 << 30);
    if (!reading->spectrum_count)
        return;
    enum wp_status status;
    if (strcmp(form, "csv") == 0)
        status = wp_write_csv(&reading->spectra[0], &bytes);
    else
        status = wp_write_jcamp(&reading->spectra[0],
                                strcmp(form, "jcamp") == 0 ? WP_JCAMP_AFFN : WP_JCAMP_DIFDUP, NULL,
                                &bytes);
    wp_reading_release(reading);
    if (!status)
        (void)wp_read(bytes.data, bytes.size, NULL, reading);
    wp_bytes_release(&bytes);
}

int main(int count, char **arguments)
{
    const char *through = NULL;
    int first = 1;
    if (count > 3 && strcmp(arguments[1], "--through") == 0) {
        through = arguments[2];
        first = 3;
    }
    for (int i = first; i < count; i++) {
        size_t size = 0;
        char *bytes = slurp(arguments[i], &size);
        if (!bytes) {
            perror(arguments[i]);
            return 2;
        }
        struct wp_reading reading;
        (void)wp_read(bytes, size, NULL, &reading);
        free(bytes);
        if (through)
            write_again(through, &reading);
        print_reading(arguments[i], &reading);
        wp_reading_release(&reading);
    }
    return 0;
}
