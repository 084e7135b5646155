#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/render.h"
#include "acts/site.h"
#include "archive/object.h"
#include "base/bytes.h"
#include "spectrum/read.h"

/* How the name got there, in words for the sheet. */
static const char *rule_words(const char *rule)
{
    static const char *const words[][2] = {
        {"turn", "signed on at the bench"}, {"identity", "named in the file"},
        {"bench", "answered at the bench"}, {"claim", "claimed by the code on the sheet"},
        {"staff", "assigned by staff"},     {"turn entered later", "turn entered by staff"},
        {"nobody", "nobody was signed on"}, {"erased", "name removed later"},
    };
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (!strcmp(words[i][0], rule))
            return words[i][1];
    return "";
}

static void base_name(const char *path, char *name, size_t room)
{
    const char *slash = strrchr(path, '/'), *back = strrchr(path, '\\');
    const char *last = !slash || (back && back > slash) ? back : slash;
    const char *from = last ? last + 1 : path;
    wp_text_clean(from, strlen(from), name, room);
}

struct source {
    unsigned char digest[WP_SHA256_SIZE];
    size_t block;
    int64_t course;
    char brought_by[80]; /* who brought the file by hand, "" if an agent did */
};

static enum wp_status read_row(struct wp_sql *sql, struct wp_loaded *loaded, struct source *source)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT m.accession, m.measured_us, m.clock_corrected, i.name, i.place, c.code, c.title, "
        "n.code, e.code, e.title, c.id, r.sha256, r.block, p.path, "
        "trim(b.given || ' ' || b.family) FROM measurement m "
        "JOIN instrument i ON i.id = m.instrument_id JOIN rendition r ON r.measurement_id = m.id "
        "JOIN capture p ON p.id = r.capture_id LEFT JOIN person b ON b.id = p.brought_by "
        "LEFT JOIN section n ON n.id = m.section_id "
        "LEFT JOIN course c ON c.id = n.course_id LEFT JOIN experiment e ON e.id = m.experiment_id "
        "WHERE m.id = ? ORDER BY r.id LIMIT 1",
        "i", loaded->id);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        size_t size = 0;
        const char *title = wp_rows_text(&rows, 6), *text = wp_rows_text(&rows, 9);
        wp_accession_format((uint64_t)wp_rows_int(&rows, 0), loaded->accession);
        loaded->measured_us = wp_rows_int(&rows, 1);
        loaded->clock_corrected = wp_rows_int(&rows, 2) != 0;
        wp_text_copy(loaded->instrument, sizeof loaded->instrument, wp_rows_text(&rows, 3));
        wp_text_copy(loaded->place, sizeof loaded->place, wp_rows_text(&rows, 4));
        if (wp_rows_text(&rows, 5))
            (void)snprintf(loaded->course, sizeof loaded->course, "%s %s", wp_rows_text(&rows, 5),
                           title ? title : "");
        wp_text_copy(loaded->section, sizeof loaded->section, wp_rows_text(&rows, 7));
        if (wp_rows_text(&rows, 8))
            (void)snprintf(loaded->experiment, sizeof loaded->experiment, "%s %s",
                           wp_rows_text(&rows, 8), text ? text : "");
        source->course = wp_rows_int(&rows, 10);
        const void *digest = wp_rows_blob(&rows, 11, &size);
        if (size == WP_SHA256_SIZE)
            memcpy(source->digest, digest, size);
        source->block = (size_t)wp_rows_int(&rows, 12);
        base_name(wp_rows_text(&rows, 13), loaded->file_name, sizeof loaded->file_name);
        wp_text_copy(source->brought_by, sizeof source->brought_by, wp_rows_text(&rows, 14));
    }
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

static enum wp_status read_names(struct wp_sql *sql, struct wp_loaded *loaded)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT trim(p.given || ' ' || p.family), p.id FROM owned o JOIN person p "
                     "ON p.id = o.person_id WHERE o.measurement_id = ? ORDER BY p.family, p.given",
                     "i", loaded->id);
    if (status)
        return status;
    while (loaded->person_count < WP_TURN_PERSONS && wp_rows_next(&rows)) {
        if (!loaded->person_count)
            (void)snprintf(loaded->author_id, sizeof loaded->author_id, "%" PRId64,
                           wp_rows_int(&rows, 1));
        wp_text_copy(loaded->persons[loaded->person_count++], sizeof loaded->persons[0],
                     wp_rows_text(&rows, 0));
    }
    status = wp_rows_end(&rows);
    if (!loaded->person_count && loaded->stamp.guest[0])
        wp_text_copy(loaded->persons[loaded->person_count++], sizeof loaded->persons[0],
                     loaded->stamp.guest);
    if (!status && !loaded->person_count)
        status = wp_claim_code(sql, loaded->id, loaded->claim_code);
    return status == WP_NOT_FOUND ? WP_OK : status;
}

static enum wp_status examine(struct wp_loaded *loaded)
{
    struct wp_context context = {0};
    struct wp_curve curve;
    (void)wp_kind_parse(loaded->stamp.kind, &context.kind);
    if (loaded->stamp.preparation[0])
        (void)wp_preparation_parse(loaded->stamp.preparation, &context.preparation);
    if (loaded->stamp.plates[0])
        (void)wp_plates_parse(loaded->stamp.plates, &context.plates);
    enum wp_status status = wp_curve_make(loaded->spectrum, &curve, NULL);
    if (status)
        return status == WP_NO_MEMORY ? status : WP_OK;
    status = wp_examine(loaded->spectrum, &curve, &context, &loaded->examination);
    wp_curve_release(&curve);
    return status;
}

static enum wp_status read_object(struct wp_sql *sql, const struct source *source,
                                  struct wp_loaded *loaded, struct wp_error *error)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, wp_read_limits_default.bytes);
    enum wp_status status = wp_object_get(sql, wp_site.store, source->digest, &bytes, error);
    if (!status)
        status = wp_read(bytes.data ? bytes.data : "", bytes.size, NULL, &loaded->reading);
    wp_bytes_release(&bytes);
    if (status == WP_INVALID)
        return wp_fail(error, status, "%s", loaded->reading.error.text);
    if (status)
        return status;
    for (size_t i = 0; i < loaded->reading.spectrum_count; i++)
        if (loaded->reading.spectra[i].block == source->block)
            loaded->spectrum = &loaded->reading.spectra[i];
    return loaded->spectrum ? WP_OK : wp_fail(error, WP_NOT_FOUND, "The file has no such block.");
}

static void name_way(struct wp_loaded *loaded, const struct source *source)
{
    const char *rule = rule_words(loaded->stamp.rule);
    if (source->brought_by[0])
        (void)snprintf(loaded->named_by, sizeof loaded->named_by, "%s; file brought by hand by %s",
                       rule, source->brought_by);
    else
        wp_text_copy(loaded->named_by, sizeof loaded->named_by, rule);
}

enum wp_status wp_loaded_read(struct wp_sql *sql, int64_t measurement, struct wp_loaded *loaded,
                              struct wp_error *error)
{
    struct source source = {0};
    memset(loaded, 0, sizeof *loaded);
    loaded->id = measurement;
    enum wp_status status = read_row(sql, loaded, &source);
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "There is no such measurement.");
    if (!status)
        status = wp_stamp_read(sql, measurement, &loaded->stamp);
    if (!status)
        status = read_names(sql, loaded);
    if (!status)
        status = wp_sheet_course(sql, source.course, &loaded->options);
    wp_clock_local(loaded->measured_us, loaded->measured_at);
    name_way(loaded, &source);
    if (!status)
        status = read_object(sql, &source, loaded, error);
    return status ? status : examine(loaded);
}

void wp_loaded_release(struct wp_loaded *loaded)
{
    wp_reading_release(&loaded->reading);
    loaded->spectrum = NULL;
}

void wp_loaded_sheet(const struct wp_loaded *loaded, struct wp_sheet_input *input)
{
    const struct wp_stamp *stamp = &loaded->stamp;
    *input = (struct wp_sheet_input){
        .spectrum = loaded->spectrum,
        .examination = &loaded->examination,
        .accession = loaded->accession,
        .person_count = loaded->person_count,
        .claim_code = loaded->claim_code,
        .author_id = loaded->author_id,
        .course = loaded->course,
        .section = loaded->section,
        .experiment = loaded->experiment,
        .sample = stamp->sample,
        .instrument = loaded->instrument,
        .place = loaded->place,
        .measured_at = loaded->measured_at,
        .clock_corrected = loaded->clock_corrected,
        .scans = loaded->spectrum->scans,
        .resolution = loaded->spectrum->resolution,
        .named_by = loaded->named_by,
        .processed = loaded->spectrum->processed,
        .file_name = loaded->file_name,
        .created_us = loaded->measured_us,
        .options = loaded->options,
    };
    for (size_t i = 0; i < loaded->person_count; i++)
        input->persons[i] = loaded->persons[i];
    (void)wp_kind_parse(stamp->kind, &input->kind);
    if (stamp->preparation[0])
        (void)wp_preparation_parse(stamp->preparation, &input->preparation);
    if (stamp->plates[0])
        (void)wp_plates_parse(stamp->plates, &input->plates);
}
