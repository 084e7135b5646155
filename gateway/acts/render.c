#include "acts/render.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/site.h"
#include "archive/object.h"
#include "views/spectrum_json.h"

/* The other spectra of an overlay, and how the key names them. */
struct overlay {
    struct wp_loaded loaded[WP_SHEET_OTHERS_MOST];
    char names[WP_SHEET_OTHERS_MOST][200];
    size_t count;
};

static enum wp_status load_others(struct wp_sql *sql, const struct wp_render *what,
                                  struct overlay *overlay, struct wp_sheet_input *input,
                                  struct wp_error *error)
{
    for (size_t i = 0; i < what->other_count; i++) {
        struct wp_loaded *loaded = &overlay->loaded[overlay->count++];
        enum wp_status status = wp_loaded_read(sql, what->others[i], loaded, error);
        if (status)
            return status;
        (void)snprintf(overlay->names[i], sizeof overlay->names[i], "%s %s", loaded->accession,
                       loaded->stamp.sample);
        input->others[i] = (struct wp_sheet_other){
            .spectrum = loaded->spectrum, .name = overlay->names[i], .date = loaded->measured_at};
        input->other_count = i + 1;
    }
    return WP_OK;
}

static enum wp_status draw_sheet(struct wp_sql *sql, struct wp_sheet_fonts *fonts,
                                 const struct wp_render *what, const struct wp_loaded *loaded,
                                 struct overlay *overlay, struct wp_bytes *out,
                                 struct wp_error *error)
{
    static const char *const hidden = "name hidden for marking";
    struct wp_sheet_input input;
    wp_loaded_sheet(loaded, &input);
    input.options.large_print = what->large_print;
    input.options.paper = what->letter ? WP_SHEET_LETTER : WP_SHEET_A4;
    if (what->hide_names) {
        input.person_count = 1;
        input.persons[0] = what->shown_as ? what->shown_as : hidden;
        input.file_name = input.author_id = NULL;
    }
    enum wp_status status = load_others(sql, what, overlay, &input, error);
    return status ? status : wp_sheet_render(fonts, &input, what->format, out, error);
}

enum wp_status wp_render_sheet(struct wp_sql *sql, struct wp_sheet_fonts *fonts,
                               const struct wp_render *what, struct wp_bytes *out,
                               struct wp_error *error)
{
    struct overlay *overlay = calloc(1, sizeof *overlay);
    struct wp_loaded *loaded = calloc(1, sizeof *loaded);
    enum wp_status status = overlay && loaded ? WP_OK : WP_NO_MEMORY;
    if (!status)
        status = wp_loaded_read(sql, what->measurement, loaded, error);
    if (!status)
        status = draw_sheet(sql, fonts, what, loaded, overlay, out, error);
    for (size_t i = 0; overlay && i < overlay->count; i++)
        wp_loaded_release(&overlay->loaded[i]);
    if (loaded)
        wp_loaded_release(loaded);
    free(overlay);
    free(loaded);
    return status;
}

/* The object named by the first row (digest, path) of a query, and its file's name. */
static enum wp_status fetch(struct wp_sql *sql, struct wp_rows *rows, struct wp_bytes *out,
                            char *name, struct wp_error *error)
{
    unsigned char digest[WP_SHA256_SIZE] = {0};
    bool found = wp_rows_next(rows);
    if (found) {
        size_t size = 0;
        const void *blob = wp_rows_blob(rows, 0, &size);
        const char *path = wp_rows_text(rows, 1), *slash = strrchr(path, '/');
        if (size == sizeof digest)
            memcpy(digest, blob, size);
        const char *base = slash ? slash + 1 : path;
        wp_text_clean(base, strlen(base), name, WP_NAME_ROOM);
    }
    enum wp_status status = wp_rows_end(rows);
    if (status || !found)
        return status ? status : wp_fail(error, WP_NOT_FOUND, "There is no such file.");
    return wp_object_get(sql, wp_site.store, digest, out, error);
}

enum wp_status wp_render_file(struct wp_sql *sql, int64_t measurement, struct wp_bytes *out,
                              char *name, struct wp_error *error)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT r.sha256, c.path FROM rendition r JOIN capture c ON c.id = "
                     "r.capture_id WHERE r.measurement_id = ? ORDER BY r.id LIMIT 1",
                     "i", measurement);
    return status ? status : fetch(sql, &rows, out, name, error);
}

enum wp_status wp_render_object(struct wp_sql *sql, const unsigned char digest[WP_SHA256_SIZE],
                                struct wp_bytes *out, char *name, struct wp_error *error)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT sha256, path FROM capture WHERE sha256 = ? ORDER BY id LIMIT 1", "b",
        digest, (size_t)WP_SHA256_SIZE);
    return status ? status : fetch(sql, &rows, out, name, error);
}

enum wp_status wp_render_jcamp(struct wp_sql *sql, int64_t measurement, bool hide_names,
                               struct wp_bytes *out, struct wp_error *error)
{
    struct wp_loaded loaded;
    enum wp_status status = wp_loaded_read(sql, measurement, &loaded, error);
    if (!status) {
        struct wp_write_notes notes = {
            .origin = loaded.instrument,
            .sample = loaded.stamp.sample,
            .procedure = loaded.stamp.preparation,
            .accession = loaded.accession,
        };
        struct wp_spectrum bare = *loaded.spectrum;
        if (hide_names) {
            /* What the file's own labels say may name whoever typed them. */
            bare.title = loaded.stamp.sample;
            bare.label_count = 0;
            notes.owner = "";
        }
        status = wp_write_jcamp(&bare, WP_JCAMP_AFFN, &notes, out);
    }
    wp_loaded_release(&loaded);
    return status;
}

enum wp_status wp_render_csv(struct wp_sql *sql, int64_t measurement, struct wp_bytes *out,
                             struct wp_error *error)
{
    struct wp_loaded loaded;
    enum wp_status status = wp_loaded_read(sql, measurement, &loaded, error);
    if (!status)
        status = wp_write_csv(loaded.spectrum, out);
    wp_loaded_release(&loaded);
    return status;
}

static enum wp_status add_array(struct wp_bytes *out, const char *name, const double *values,
                                size_t count, int digits)
{
    enum wp_status status = wp_bytes_addf(out, "\"%s\":[", name);
    for (size_t i = count; !status && i-- > 0;) {
        char text[40];
        if (isfinite(values[i]))
            (void)snprintf(text, sizeof text, "%.*g", digits, values[i]);
        else
            (void)snprintf(text, sizeof text, "null");
        status = wp_bytes_addf(out, "%s%s", text, i ? "," : "");
    }
    return status ? status : wp_bytes_add_text(out, "],");
}

static enum wp_status add_curve(const struct wp_curve *curve, struct wp_bytes *out)
{
    enum wp_status status =
        wp_bytes_add_text(out, "{\"x_unit\":\"cm-1\",\"y_unit\":\"transmittance\",");
    if (!status)
        status = add_array(out, "x", curve->x, curve->count, 9);
    if (!status)
        status = add_array(out, "t", curve->t, curve->count, 6);
    return status ? status : add_array(out, "a", curve->a, curve->count, 6);
}

/* A spectrum that is no infrared curve is drawn as it came. */
static enum wp_status add_plain(const struct wp_spectrum *spectrum, struct wp_bytes *out)
{
    enum wp_status status =
        wp_bytes_addf(out, "{\"x_unit\":\"%s\",\"y_unit\":\"%s\",",
                      wp_x_unit_text(spectrum->x_unit), wp_y_unit_text(spectrum->y_unit));
    if (!status)
        status = add_array(out, "x", spectrum->x, spectrum->count, 10);
    return status ? status : add_array(out, "y", spectrum->y, spectrum->count, 10);
}

static void drop_staff_remarks(struct wp_examination *examination)
{
    size_t kept = 0;
    for (size_t i = 0; i < examination->remark_count; i++)
        if (!examination->remarks[i].staff_only)
            examination->remarks[kept++] = examination->remarks[i];
    examination->remark_count = kept;
}

enum wp_status wp_render_points(struct wp_sql *sql, int64_t measurement, bool staff_remarks,
                                struct wp_bytes *out, struct wp_error *error)
{
    struct wp_loaded loaded;
    struct wp_curve curve = {0};
    enum wp_status status = wp_loaded_read(sql, measurement, &loaded, error);
    if (!status) {
        enum wp_status made = wp_curve_make(loaded.spectrum, &curve, NULL);
        status = made == WP_NO_MEMORY ? made
                 : made               ? add_plain(loaded.spectrum, out)
                                      : add_curve(&curve, out);
    }
    if (!staff_remarks)
        drop_staff_remarks(&loaded.examination);
    cJSON *json = status ? NULL : wp_json_examination(&loaded.examination);
    char *text = json ? cJSON_PrintUnformatted(json) : NULL;
    if (!status && !text)
        status = WP_NO_MEMORY;
    if (!status)
        status = wp_bytes_addf(out, "\"examination\":%s}", text);
    free(text);
    cJSON_Delete(json);
    wp_curve_release(&curve);
    wp_loaded_release(&loaded);
    return status;
}
