/* One measurement as a file: sheet, original bytes, JCAMP-DX, CSV, points for the plot. Drawn on
 * the compute lane with a reading connection of its own. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/render.h"
#include "readers.h"
#include "request.h"
#include "views/measurements.h"
#include "views/references.h"

#define DOCUMENT_MOST ((size_t)512 * 1024 * 1024) /* an original may be as large as a capture */

enum kind { SHEET_PDF, SHEET_PNG, SHEET_SVG, ORIGINAL, JCAMP, CSV, POINTS, OBJECT };

struct document {
    struct wp_request *request;
    enum kind kind;
    int64_t measurement;
    unsigned char digest[WP_SHA256_SIZE]; /* of an object */
    bool hide_names;
    bool staff_remarks;
    char shown_as[200];                   /* on a bench: the short names */
    int64_t others[WP_SHEET_OTHERS_MOST]; /* of an overlay, each checked */
    size_t other_count;
    char name[WP_NAME_ROOM];
    struct wp_bytes bytes;
    enum wp_status status;
    struct wp_error error;
};

static const struct {
    const char *end; /* of the route's path */
    const char *type;
    const char *extension;
    bool attachment;
    enum kind kind;
} kinds[] = {{"/sheet.pdf", "application/pdf", "pdf", false, SHEET_PDF},
             {"/sheet.png", "image/png", "png", false, SHEET_PNG},
             {"/sheet.svg", "image/svg+xml", "svg", false, SHEET_SVG},
             {"/file", "application/octet-stream", "", true, ORIGINAL},
             {"/jcamp", "chemical/x-jcamp-dx", "jdx", true, JCAMP},
             {"/csv", "text/csv; charset=utf-8", "csv", true, CSV},
             {"/points", "application/json", "", false, POINTS},
             {"", "application/octet-stream", "", true, OBJECT}};

static enum kind kind_of(const struct wp_route *route)
{
    const char *end = strrchr(route->path, '/');
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        if (!strcmp(kinds[i].end, end))
            return kinds[i].kind;
    return POINTS;
}

static void free_document(void *state)
{
    struct document *document = state;
    wp_bytes_release(&document->bytes);
    free(document);
}

static struct document *new_document(struct wp_request *request, enum kind kind)
{
    struct document *document = calloc(1, sizeof *document);
    if (!document)
        return NULL;
    request->state = document;
    request->state_free = free_document;
    document->request = request;
    document->kind = kind;
    wp_bytes_init(&document->bytes, DOCUMENT_MOST);
    return document;
}

/* "with=ID,ID": spectra drawn behind the sheet's own. Each is checked as the first one was, or is
 * a reference of its course. */
static enum wp_status load_others(struct wp_sql *sql, int64_t now, struct wp_request *request,
                                  struct document *document)
{
    const char *at = wp_ask_text(&request->ask, "with");
    while (at && *at) {
        char id[24];
        size_t length = strcspn(at, ",");
        struct wp_ask ask = request->ask;
        if (document->other_count == WP_SHEET_OTHERS_MOST || length >= sizeof id)
            return wp_fail(&request->error, WP_INVALID, "\"with\" names at most %d measurements.",
                           WP_SHEET_OTHERS_MOST);
        memcpy(id, at, length);
        id[length] = '\0';
        ask.param[0] = id;
        int64_t *other = &document->others[document->other_count];
        if (!wp_ask_param_int(&ask, 0, other))
            return wp_fail(&request->error, WP_INVALID, "\"with\" is a list of ids.");
        enum wp_status status = wp_access_check(sql, now, &request->who, request->route->roles,
                                                WP_SCOPE_MEASUREMENT, &ask);
        if (status && wp_reference_of(sql, document->measurement, *other) != WP_OK)
            return status;
        document->other_count++;
        at += length + (at[length] == ',');
    }
    return WP_OK;
}

/* A bench's screen shows short names, which are what `about` has for it. */
static void short_names(const cJSON *about, char *text, size_t room)
{
    const cJSON *person = NULL;
    size_t used = 0;
    cJSON_ArrayForEach(person, cJSON_GetObjectItemCaseSensitive(about, "persons"))
    {
        const char *name = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(person, "name"));
        int wrote = snprintf(text + used, room - used, "%s%s", used ? ", " : "", name ? name : "");
        used += wrote > 0 && (size_t)wrote < room - used ? (size_t)wrote : 0;
    }
}

/* The accession number names the file; whether names are hidden is the view's to say. */
enum wp_status wp_load_document(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    struct document *document = new_document(request, kind_of(request->route));
    cJSON *about = NULL;
    if (!document)
        return WP_NO_MEMORY;
    if (!wp_ask_param_int(&request->ask, 0, &document->measurement))
        return WP_NOT_FOUND;
    enum wp_status status = wp_measurement_json(sql, &request->who, document->measurement, &about);
    const char *accession = cJSON_GetStringValue(cJSON_GetObjectItem(about, "accession"));
    document->hide_names = cJSON_IsTrue(cJSON_GetObjectItem(about, "hidden"));
    document->staff_remarks = document->hide_names || cJSON_HasObjectItem(about, "suggestion");
    if (request->who.actor == WP_ACTOR_BENCH)
        short_names(about, document->shown_as, sizeof document->shown_as);
    if (!status)
        snprintf(document->name, sizeof document->name, "%s.%s", accession ? accession : "sheet",
                 kinds[document->kind].extension);
    cJSON_Delete(about);
    if (!status && document->hide_names && document->kind == ORIGINAL)
        status = wp_fail(&request->error, WP_DENIED, "The original file may carry a name.");
    return status ? status : load_others(sql, now, request, document);
}

enum wp_status wp_load_object(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    (void)now;
    struct document *document = new_document(request, OBJECT);
    if (!document)
        return WP_NO_MEMORY;
    return wp_hex_decode(request->ask.param[0], document->digest, sizeof document->digest)
               ? wp_view_object_seen(sql, &request->who, document->digest)
               : WP_NOT_FOUND;
}

/* ---- drawing ---- */

static enum wp_status draw_sheet(struct document *document, struct wp_sql *sql)
{
    static const enum wp_sheet_format formats[] = {WP_SHEET_PDF, WP_SHEET_PNG, WP_SHEET_SVG};
    const struct wp_ask *ask = &document->request->ask;
    const char *paper = wp_ask_text(ask, "paper");
    struct wp_render what = {.measurement = document->measurement,
                             .format = formats[document->kind],
                             .large_print = wp_ask_flag(ask, "large_print"),
                             .letter = paper ? !strcmp(paper, "letter")
                                             : wp_sheet_paper(sql) == WP_SHEET_LETTER,
                             .hide_names = document->hide_names || document->shown_as[0],
                             .shown_as = document->shown_as[0] ? document->shown_as : NULL,
                             .other_count = document->other_count};
    memcpy(what.others, document->others, sizeof what.others);
    return wp_render_sheet(sql, document->request->web->options.fonts, &what, &document->bytes,
                           &document->error);
}

static enum wp_status draw(struct document *document, struct wp_sql *sql)
{
    switch (document->kind) {
    case SHEET_PDF:
    case SHEET_PNG:
    case SHEET_SVG:
        return draw_sheet(document, sql);
    case ORIGINAL:
        return wp_render_file(sql, document->measurement, &document->bytes, document->name,
                              &document->error);
    case JCAMP:
        return wp_render_jcamp(sql, document->measurement, document->hide_names, &document->bytes,
                               &document->error);
    case CSV:
        return wp_render_csv(sql, document->measurement, &document->bytes, &document->error);
    case OBJECT:
        return wp_render_object(sql, document->digest, &document->bytes, document->name,
                                &document->error);
    case POINTS:
        break;
    }
    return wp_render_points(sql, document->measurement, document->staff_remarks, &document->bytes,
                            &document->error);
}

static void work_draw(void *job)
{
    struct document *document = job;
    struct wp_readers *readers = document->request->web->readers;
    struct wp_sql *sql = NULL;
    document->status = wp_readers_take(readers, &sql, &document->error);
    if (document->status)
        return;
    document->status = draw(document, sql);
    wp_readers_give(readers, sql);
}

static void done_draw(void *job, bool ran)
{
    struct document *document = job;
    struct wp_request *request = document->request;
    if (!ran || document->status) {
        wp_reply_problem(request, ran ? document->status : WP_RETRY, &document->error);
        return;
    }
    size_t size = 0;
    const char *type = kinds[document->kind].type;
    char *data = wp_bytes_take(&document->bytes, &size);
    if (document->kind == POINTS)
        wp_reply_text(request, MHD_HTTP_OK, type, data, size);
    else
        wp_reply_document(request, type,
                          kinds[document->kind].attachment ||
                              wp_ask_flag(&request->ask, "download"),
                          document->name, data, size);
}

void wp_serve_document(struct wp_request *request)
{
    if (wp_lane_submit(request->web->options.compute, work_draw, done_draw, request->state))
        wp_job_park(request, wp_serve_document);
}
