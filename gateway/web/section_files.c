/* A section as one file: the ZIP for marking, and all sheets in one PDF. Made on the exports lane
 * while it is sent. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/render.h"
#include "base/log.h"
#include "readers.h"
#include "request.h"
#include "stream.h"
#include "views/lists.h"
#include "zip.h"

#define MEMBER_MOST ((size_t)512 * 1024 * 1024)
#define INDEX_MOST ((size_t)8 * 1024 * 1024)

struct section_file {
    struct wp_web *web;
    int64_t section;
    int64_t experiment; /* 0: all */
    bool all;           /* also what does not count */
    cJSON *grid;        /* students x experiments, as the grid page has it */
};

/* A ZIP being filled by one thread. */
struct filling {
    struct section_file *file;
    struct wp_sql *sql;
    struct wp_zip *zip;
    struct wp_bytes index;
};

static void free_file(void *state)
{
    struct section_file *file = state;
    cJSON_Delete(file->grid);
    free(file);
}

enum wp_status wp_load_section_file(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    (void)now;
    struct section_file *file = calloc(1, sizeof *file);
    if (!file)
        return WP_NO_MEMORY;
    request->state = file;
    request->state_free = free_file;
    file->web = request->web;
    file->all = wp_ask_flag(&request->ask, "all");
    if (!wp_ask_param_int(&request->ask, 0, &file->section))
        return WP_NOT_FOUND;
    if (wp_ask_text(&request->ask, "experiment") &&
        !wp_ask_int(&request->ask, "experiment", &file->experiment))
        return wp_fail(&request->error, WP_INVALID, "experiment must be an id.");
    return wp_view_grid(sql, &request->ask, &file->grid, &request->error);
}

static const char *text_of(const cJSON *object, const char *name)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    return text ? text : "";
}

static int64_t id_of(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return cJSON_IsNumber(item) ? (int64_t)item->valuedouble : 0;
}

static const char *experiment_code(const struct section_file *file, int64_t experiment)
{
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(file->grid, "experiments"))
    {
        if (id_of(item, "id") == experiment)
            return text_of(item, "code");
    }
    return "";
}

/* ---- members ---- */

/* What cannot be drawn is left out and said in the index; a client that went away ends it all. */
static enum wp_status add_bytes(struct filling *filling, const char *folder, const char *name,
                                int64_t at_us, enum wp_status made, struct wp_bytes *bytes)
{
    char path[1024];
    enum wp_status status = WP_OK;
    snprintf(path, sizeof path, "%s/%s", folder, name);
    if (!made)
        status = wp_zip_add(filling->zip, path, bytes->data ? bytes->data : "", bytes->size, at_us);
    wp_bytes_release(bytes);
    return status;
}

static enum wp_status add_sheet(struct filling *filling, const char *folder, const char *accession,
                                int64_t id, int64_t at_us, struct wp_error *error)
{
    char name[64];
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, MEMBER_MOST);
    struct wp_render what = {.measurement = id, .format = WP_SHEET_PDF};
    enum wp_status made =
        wp_render_sheet(filling->sql, filling->file->web->options.fonts, &what, &bytes, error);
    snprintf(name, sizeof name, "%s.pdf", accession);
    return add_bytes(filling, folder, name, at_us, made, &bytes);
}

static enum wp_status add_original(struct filling *filling, const char *folder,
                                   const char *accession, int64_t id, int64_t at_us,
                                   struct wp_error *error)
{
    char own[WP_NAME_ROOM];
    char clean[200];
    char name[300];
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, MEMBER_MOST);
    enum wp_status made = wp_render_file(filling->sql, id, &bytes, own, error);
    wp_zip_name(made ? "" : own, clean, sizeof clean);
    snprintf(name, sizeof name, "%s original %s", accession, clean);
    return add_bytes(filling, folder, name, at_us, made, &bytes);
}

static enum wp_status add_jcamp(struct filling *filling, const char *folder, const char *accession,
                                int64_t id, int64_t at_us, struct wp_error *error)
{
    char name[64];
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, MEMBER_MOST);
    enum wp_status made = wp_render_jcamp(filling->sql, id, false, &bytes, error);
    snprintf(name, sizeof name, "%s.jdx", accession);
    return add_bytes(filling, folder, name, at_us, made, &bytes);
}

static enum wp_status add_index(struct filling *filling, const cJSON *student, const char *code,
                                const cJSON *measurement, const char *trouble)
{
    char time[WP_ISO_ROOM];
    wp_clock_local(id_of(measurement, "measured_us"), time);
    const char *fields[] = {text_of(student, "name"),
                            text_of(student, "number"),
                            code,
                            text_of(measurement, "accession"),
                            text_of(measurement, "sample"),
                            time,
                            text_of(measurement, "verdict"),
                            cJSON_IsTrue(cJSON_GetObjectItem(measurement, "counts")) ? "yes" : "",
                            trouble};
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < sizeof fields / sizeof fields[0] && !status; i++)
        status = wp_csv_add(&filling->index, fields[i], i == 0);
    return status ? status : wp_bytes_add_text(&filling->index, "\r\n");
}

static enum wp_status add_measurement(struct filling *filling, const cJSON *student,
                                      const char *folder, const char *code,
                                      const cJSON *measurement)
{
    struct wp_error error = {0};
    int64_t id = id_of(measurement, "id");
    int64_t at_us = id_of(measurement, "measured_us");
    const char *accession = text_of(measurement, "accession");
    enum wp_status status = add_sheet(filling, folder, accession, id, at_us, &error);
    if (!status)
        status = add_original(filling, folder, accession, id, at_us, &error);
    if (!status)
        status = add_jcamp(filling, folder, accession, id, at_us, &error);
    return status ? status : add_index(filling, student, code, measurement, error.text);
}

static bool wanted(const struct section_file *file, const cJSON *measurement, bool chosen)
{
    return file->all || !chosen ||
           cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(measurement, "counts"));
}

/* Those that count; where nobody said which one counts, all of the cell. */
static bool any_counts(const cJSON *measurements)
{
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, measurements)
    {
        if (cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(item, "counts")))
            return true;
    }
    return false;
}

static enum wp_status add_cell(struct filling *filling, const cJSON *student, const char *folder,
                               const cJSON *cell)
{
    const struct section_file *file = filling->file;
    int64_t experiment = id_of(cell, "experiment");
    const cJSON *measurements = cJSON_GetObjectItemCaseSensitive(cell, "measurements");
    const cJSON *item = NULL;
    enum wp_status status = WP_OK;
    if (file->experiment && experiment != file->experiment)
        return WP_OK;
    bool chosen = any_counts(measurements);
    cJSON_ArrayForEach(item, measurements)
    {
        if (!status && wanted(file, item, chosen))
            status =
                add_measurement(filling, student, folder, experiment_code(file, experiment), item);
    }
    return status;
}

static enum wp_status add_student(struct filling *filling, const cJSON *student)
{
    char name[200];
    char number[100];
    char folder[sizeof name + sizeof number + 4];
    const cJSON *cell = NULL;
    enum wp_status status = WP_OK;
    wp_zip_name(text_of(student, "name"), name, sizeof name);
    /* Two of one name stay apart by their number, or by ours where the roster has none. */
    wp_zip_name(text_of(student, "number"), number, sizeof number);
    if (number[0])
        snprintf(folder, sizeof folder, "%s (%s)", name, number);
    else
        snprintf(folder, sizeof folder, "%s (%" PRId64 ")", name, id_of(student, "id"));
    cJSON_ArrayForEach(cell, cJSON_GetObjectItemCaseSensitive(student, "cells"))
    {
        if (!status)
            status = add_cell(filling, student, folder, cell);
    }
    return status;
}

static enum wp_status fill(struct filling *filling)
{
    const cJSON *student = NULL;
    enum wp_status status = wp_bytes_add_text(
        &filling->index, "\"name\",\"number\",\"experiment\",\"accession\",\"sample\","
                         "\"measured\",\"verdict\",\"counts\",\"left out\"\r\n");
    cJSON_ArrayForEach(student, cJSON_GetObjectItemCaseSensitive(filling->file->grid, "students"))
    {
        if (!status)
            status = add_student(filling, student);
    }
    if (!status)
        status = wp_zip_add(filling->zip, "index.csv", filling->index.data, filling->index.size,
                            wp_clock_utc());
    return status;
}

/* ---- streaming ---- */

static enum wp_status write_stream(void *arg, const void *data, size_t size)
{
    return wp_stream_write(arg, data, size);
}

static enum wp_status make_zip(struct wp_stream *stream, void *arg)
{
    struct filling filling = {.file = arg};
    struct wp_readers *readers = filling.file->web->readers;
    enum wp_status status = wp_readers_take(readers, &filling.sql, NULL);
    if (status)
        return status;
    wp_bytes_init(&filling.index, INDEX_MOST);
    status = wp_zip_begin(write_stream, stream, &filling.zip);
    if (!status)
        status = fill(&filling);
    enum wp_status ended = wp_zip_end(filling.zip);
    wp_bytes_release(&filling.index);
    wp_readers_give(readers, filling.sql);
    return status ? status : ended;
}

static enum wp_status make_booklet(struct wp_stream *stream, void *arg)
{
    struct section_file *file = arg;
    struct wp_sql *sql = NULL;
    struct wp_error error = {0};
    enum wp_status status = wp_readers_take(file->web->readers, &sql, &error);
    if (status)
        return status;
    status = wp_render_booklet(sql, file->web->options.fonts, file->section, file->experiment,
                               file->all, write_stream, stream, &error);
    wp_readers_give(file->web->readers, sql);
    if (status && status != WP_RETRY)
        wp_log(WP_LOG_WARN, "web", "booklet of section %" PRId64 ": %s", file->section,
               error.text[0] ? error.text : wp_status_name(status));
    return status;
}

static void serve(struct wp_request *request, const char *type, const char *extension,
                  wp_stream_fn make)
{
    struct section_file *file = request->state;
    const cJSON *section = cJSON_GetObjectItemCaseSensitive(file->grid, "section");
    char name[200];
    snprintf(name, sizeof name, "%s %s.%s", text_of(section, "course"), text_of(section, "code"),
             extension);
    request->state = NULL;
    request->state_free = NULL;
    wp_reply_stream(request, type, name, make, file, free_file);
}

void wp_serve_section_zip(struct wp_request *request)
{
    serve(request, "application/zip", "zip", make_zip);
}

/* A stream that has begun can only be cut off, so emptiness is told before. */
static bool anything(const struct section_file *file)
{
    const cJSON *student = NULL;
    const cJSON *cell = NULL;
    cJSON_ArrayForEach(student, cJSON_GetObjectItemCaseSensitive(file->grid, "students"))
    {
        cJSON_ArrayForEach(cell, cJSON_GetObjectItemCaseSensitive(student, "cells"))
        {
            if ((!file->experiment || id_of(cell, "experiment") == file->experiment) &&
                cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(cell, "measurements")) > 0)
                return true;
        }
    }
    return false;
}

void wp_serve_booklet(struct wp_request *request)
{
    struct wp_error none = {.text = "There is no spectrum yet."};
    if (!anything(request->state))
        wp_reply_problem(request, WP_NOT_FOUND, &none);
    else
        serve(request, "application/pdf", "pdf", make_booklet);
}
