/* How fast the reader is, from a file in memory to values, beside a bare loop on the same tables.
 *
 * parse_bench FORM FILE...   FORM is affn, sqz or difdup; many different files, since a processor
 *                            learns the branches of a single small one by heart
 * parse_bench linear         time a point of one table of 10,000 to 10,000,000 points
 *
 * Processor time, the best of seven rounds in which both take turns. Prints "name value" lines.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bare.h"
#include "spectrum/read.h"
#include "spectrum/write.h"

#define FILES 256
#define ROUNDS 7

struct text {
    char *bytes;
    size_t size;
    const char *table;
};

static struct text texts[FILES];
static size_t text_count;
static double *room;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void fail(const char *what)
{
    fprintf(stderr, "parse_bench: %s\n", what);
    exit(1);
}

static void load(const char *file)
{
    FILE *f = fopen(file, "rb");
    if (!f || text_count == FILES || fseek(f, 0, SEEK_END) != 0)
        fail(file);
    long size = ftell(f);
    rewind(f);
    struct text *text = &texts[text_count++];
    text->size = (size_t)size;
    text->bytes = calloc(1, text->size + 1);
    if (!text->bytes || fread(text->bytes, 1, text->size, f) != text->size)
        fail(file);
    fclose(f);
    const char *form = strstr(text->bytes, "(X++(Y..Y))");
    if (!form)
        fail("no table");
    text->table = strchr(form, '\n') + 1;
}

static size_t read_all(void)
{
    size_t points = 0;
    for (size_t i = 0; i < text_count; i++) {
        struct wp_reading reading;
        if (wp_read(texts[i].bytes, texts[i].size, NULL, &reading) != WP_OK)
            fail(reading.error.text);
        points += reading.spectra[0].count;
        wp_reading_release(&reading);
    }
    return points;
}

static size_t (*bare_form)(const char *text, double *out);

static size_t bare_all(void)
{
    size_t values = 0;
    for (size_t i = 0; i < text_count; i++)
        values += bare_form(texts[i].table, room);
    return values;
}

static double seconds_of(size_t (*all)(void), size_t *count)
{
    int times = 0;
    double begin = now();
    double end;
    do {
        *count = all();
        times++;
        end = now();
    } while (end - begin < 0.15);
    return (end - begin) / times;
}

static void measure(const char *form)
{
    size_t bytes = 0;
    double best[2] = {1e9, 1e9};
    size_t points = 0;
    size_t bare = 0;
    bare_form = strcmp(form, "affn") == 0 ? bare_affn : bare_pseudo;
    for (size_t i = 0; i < text_count; i++)
        bytes += texts[i].size;
    for (int round = 0; round < ROUNDS; round++) {
        double ours = seconds_of(read_all, &points);
        double floor = seconds_of(bare_all, &bare);
        best[0] = ours < best[0] ? ours : best[0];
        best[1] = floor < best[1] ? floor : best[1];
    }
    if (bare < points)
        fail("the bare loop found fewer ordinates");
    printf("reader_MB_per_s %.1f\n", (double)bytes / 1e6 / best[0]);
    printf("reader_Mpoints_per_s %.2f\n", (double)points / 1e6 / best[0]);
    printf("bare_MB_per_s %.1f\n", (double)bytes / 1e6 / best[1]);
    printf("reader_to_bare %.2f\n", best[1] / best[0]);
}

/* A table of `count` points, written by the writer. */
static void make(size_t count, enum wp_jcamp_form form, struct wp_bytes *out)
{
    struct wp_spectrum s = {.count = count, .technique = WP_INFRARED, .y_factor = 1.0};
    s.x = malloc(count * sizeof *s.x);
    s.y = malloc(count * sizeof *s.y);
    if (!s.x || !s.y)
        fail("out of memory");
    unsigned state = 1;
    for (size_t i = 0; i < count; i++) {
        state = state * 1103515245U + 12345U;
        s.x[i] = 400.0 + (double)i * 3600.0 / (double)(count - 1);
        s.y[i] = (double)(state >> 16 & 511);
    }
    wp_bytes_init(out, (size_t)1 << 30);
    if (wp_write_jcamp(&s, form, NULL, out) != WP_OK)
        fail("cannot write");
    free(s.x);
    free(s.y);
}

static void linear(enum wp_jcamp_form form, const char *name)
{
    for (size_t count = 10000; count <= 10000000; count *= 10) {
        struct wp_bytes bytes;
        make(count, form, &bytes);
        text_count = 1;
        texts[0] = (struct text){.bytes = bytes.data, .size = bytes.size};
        double best = 1e9;
        for (int round = 0; round < 3; round++) {
            size_t points = 0;
            double seconds = seconds_of(read_all, &points);
            best = seconds < best ? seconds : best;
        }
        printf("%s_%zu_points_ns_per_point %.2f\n", name, count, best * 1e9 / (double)count);
        wp_bytes_release(&bytes);
    }
}

int main(int count, char **arguments)
{
    if (count == 2 && strcmp(arguments[1], "linear") == 0) {
        linear(WP_JCAMP_AFFN, "affn");
        linear(WP_JCAMP_DIFDUP, "difdup");
        return 0;
    }
    if (count < 3)
        fail("usage: parse_bench FORM FILE... | linear");
    for (int i = 2; i < count; i++)
        load(arguments[i]);
    room = malloc(((size_t)1 << 20) * sizeof *room);
    if (!room)
        fail("out of memory");
    measure(arguments[1]);
    return 0;
}
