/* The verbs that make one file of another: sheet and convert. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/clock.h"
#include "cli.h"
#include "sheet/sheet.h"
#include "spectrum/read.h"
#include "spectrum/remarks.h"
#include "spectrum/write.h"

/* Sheets of a page or two; hand-made limits of what is written in one piece. */
#define OUT_MOST ((size_t)512 << 20)

static int load(const char *path, const char *block, struct wp_reading *reading,
                struct wp_spectrum **spectrum)
{
    struct wp_bytes bytes = {0};
    struct wp_error error = {0};
    memset(reading, 0, sizeof *reading);
    if (wp_cli_load(path, wp_read_limits_default.bytes, &bytes, &error))
        return wp_cli_fail("%s: %s", path, error.text);
    enum wp_status status = wp_read(bytes.data ? bytes.data : "", bytes.size, NULL, reading);
    wp_bytes_release(&bytes);
    if (status && !reading->spectrum_count)
        return wp_cli_fail("%s:%ld: %s", path, reading->error.line, reading->error.text);
    if (status)
        fprintf(stderr, "wavepost: %s:%ld: %s (what came before it is used)\n", path,
                reading->error.line, reading->error.text);
    if (!block) {
        *spectrum = &reading->spectra[0];
        return WP_EXIT_DONE;
    }
    char *end = NULL;
    unsigned long number = strtoul(block, &end, 10);
    if (!*block || *end || number < 1 || number > reading->spectrum_count)
        return wp_cli_fail("%s holds blocks 1 to %zu; --block %s is none of them", path,
                           reading->spectrum_count, block);
    *spectrum = &reading->spectra[number - 1];
    return WP_EXIT_DONE;
}

/* True, and said so, if the two names are of one file: what is written would destroy what is read.
 */
static bool same_file(const char *in, const char *out)
{
    struct stat a, b;
    if (stat(in, &a) || stat(out, &b) || a.st_dev != b.st_dev || a.st_ino != b.st_ino)
        return false;
    (void)wp_cli_usage("OUT is the file that is read; give another name");
    return true;
}

static bool ends_with(const char *text, const char *end)
{
    size_t a = strlen(text), b = strlen(end);
    return a > b && !strcasecmp(text + a - b, end);
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static void fill(const struct wp_words *words, const struct wp_spectrum *spectrum,
                 const struct wp_examination *examination, struct wp_sheet_input *input)
{
    const char *paper = wp_words_value(words, "paper");
    *input = (struct wp_sheet_input){
        .spectrum = spectrum,
        .examination = examination,
        .accession = "not archived",
        .loose = true,
        .course = wp_words_value(words, "course"),
        .section = wp_words_value(words, "section"),
        .sample = wp_words_value(words, "sample"),
        .scans = spectrum->scans,
        .resolution = spectrum->resolution,
        .processed = spectrum->processed,
        .file_name = base_name(words->words[0]),
        .created_us = spectrum->time.present ? spectrum->time.utc_us : 0,
        .options = {.paper = paper && !strcmp(paper, "letter") ? WP_SHEET_LETTER : WP_SHEET_A4},
    };
    const char *person = wp_words_value(words, "person");
    if (person) {
        input->persons[0] = person;
        input->person_count = 1;
        input->named_by = "given on the command line";
    }
    if (!input->sample)
        input->sample = spectrum->title;
}

static int draw(const struct wp_words *words, const struct wp_spectrum *spectrum,
                enum wp_sheet_format format, const char *path)
{
    static struct wp_examination examination;
    struct wp_sheet_fonts *fonts = NULL;
    struct wp_sheet_input input;
    struct wp_error error = {0};
    struct wp_curve curve;
    struct wp_bytes out;
    char when[WP_ISO_ROOM];
    bool curved = wp_curve_make(spectrum, &curve, NULL) == WP_OK;
    if (curved) {
        (void)wp_examine(spectrum, &curve, NULL, &examination);
        wp_curve_release(&curve);
    }
    fill(words, spectrum, curved ? &examination : NULL, &input);
    if (spectrum->time.present) {
        /* The time as the file has it, whatever the zone: it is told as it stands there. */
        wp_clock_iso(spectrum->time.utc_us, when);
        when[10] = ' ';
        when[spectrum->time.has_time ? 16 : 10] = '\0';
        input.measured_at = when;
    }
    wp_bytes_init(&out, OUT_MOST);
    enum wp_status status = wp_sheet_fonts_new(NULL, &fonts, &error);
    if (!status)
        status = wp_sheet_render(fonts, &input, format, &out, &error);
    if (!status)
        status = wp_cli_save(path, out.data, out.size, &error);
    wp_bytes_release(&out);
    wp_sheet_fonts_free(fonts);
    return status ? wp_cli_fail("%s", error.text) : WP_EXIT_DONE;
}

int wp_cli_sheet(int argc, char **argv)
{
    struct wp_option options[] = {{"o", false, NULL},      {"person", false, NULL},
                                  {"course", false, NULL}, {"section", false, NULL},
                                  {"sample", false, NULL}, {"paper", false, NULL},
                                  {"block", false, NULL},  {0}};
    const char *file[1];
    struct wp_words words = {.options = options, .words = file};
    if (!wp_words_parse(argc, argv, 2, &words, 1))
        return WP_EXIT_USAGE;
    const char *out = wp_words_value(&words, "o"), *paper = wp_words_value(&words, "paper");
    if (words.count != 1 || !out)
        return wp_cli_usage("sheet needs a file and -o OUT");
    if (paper && strcmp(paper, "a4") != 0 && strcmp(paper, "letter") != 0)
        return wp_cli_usage("--paper is a4 or letter");
    enum wp_sheet_format format = WP_SHEET_PDF;
    if (ends_with(out, ".png"))
        format = WP_SHEET_PNG;
    else if (ends_with(out, ".svg"))
        format = WP_SHEET_SVG;
    else if (!ends_with(out, ".pdf"))
        return wp_cli_usage("OUT ends in .pdf, .png or .svg");
    if (same_file(file[0], out))
        return WP_EXIT_USAGE;
    struct wp_reading reading;
    struct wp_spectrum *spectrum = NULL;
    int code = load(file[0], wp_words_value(&words, "block"), &reading, &spectrum);
    if (!code && spectrum)
        code = draw(&words, spectrum, format, out);
    wp_reading_release(&reading);
    return code;
}

int wp_cli_convert(int argc, char **argv)
{
    struct wp_option options[] = {
        {"o", false, NULL}, {"to", false, NULL}, {"block", false, NULL}, {0}};
    const char *file[1];
    struct wp_words words = {.options = options, .words = file};
    if (!wp_words_parse(argc, argv, 2, &words, 1))
        return WP_EXIT_USAGE;
    const char *out = wp_words_value(&words, "o"), *to = wp_words_value(&words, "to");
    if (words.count != 1 || !out || !to)
        return wp_cli_usage("convert needs a file, --to FORMAT and -o OUT");
    bool csv = !strcmp(to, "csv"), difdup = !strcmp(to, "jcamp-difdup");
    if (!csv && !difdup && strcmp(to, "jcamp") != 0)
        return wp_cli_usage("--to is jcamp, jcamp-difdup or csv");
    if (same_file(file[0], out))
        return WP_EXIT_USAGE;
    struct wp_reading reading;
    struct wp_spectrum *spectrum = NULL;
    struct wp_bytes bytes;
    struct wp_error error = {0};
    int code = load(file[0], wp_words_value(&words, "block"), &reading, &spectrum);
    wp_bytes_init(&bytes, OUT_MOST);
    if (!code) {
        enum wp_status status =
            csv ? wp_write_csv(spectrum, &bytes)
                : wp_write_jcamp(spectrum, difdup ? WP_JCAMP_DIFDUP : WP_JCAMP_AFFN, NULL, &bytes);
        if (status)
            code =
                wp_cli_fail("%s: cannot be written as %s: %s", file[0], to, wp_status_name(status));
        else if (wp_cli_save(out, bytes.data, bytes.size, &error))
            code = wp_cli_fail("%s", error.text);
    }
    wp_bytes_release(&bytes);
    wp_reading_release(&reading);
    return code;
}
