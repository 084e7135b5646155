/* A capture comes in: from an agent, or from a stick by staff. Read the fields, compute on the
 * compute lane, record in a write job, and only then send the receipt. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/intake.h"
#include "base/clock.h"
#include "capture_fields.h"
#include "request.h"

struct upload {
    struct wp_intake intake; /* first: jobs get its address */
    struct wp_request *request;
    enum wp_status status;
};

static void free_upload(void *state)
{
    struct upload *upload = state;
    wp_intake_release(&upload->intake);
    free(upload);
}

static struct upload *new_upload(struct wp_request *request)
{
    struct upload *upload = calloc(1, sizeof *upload);
    if (!upload)
        return NULL;
    upload->request = request;
    upload->intake.proof = request->proof;
    request->state = upload;
    request->state_free = free_upload;
    return upload;
}

enum wp_status wp_load_capture(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    (void)now;
    struct upload *upload = new_upload(request);
    return upload ? wp_intake_context(sql, &upload->intake) : WP_NO_MEMORY;
}

enum wp_status wp_load_brought(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    (void)now;
    struct upload *upload = new_upload(request);
    if (!upload)
        return WP_NO_MEMORY;
    upload->intake.brought_by = request->who.id;
    if (!wp_ask_param_int(&request->ask, 0, &upload->intake.instrument))
        return WP_NOT_FOUND;
    return wp_intake_context(sql, &upload->intake);
}

/* ---- the receipt ---- */

static void add_ledger(cJSON *json, const struct wp_ledger_head *head)
{
    char hash[2 * WP_LEDGER_HASH + 1];
    wp_hex_encode(head->hash, sizeof head->hash, hash);
    cJSON *ledger = cJSON_AddObjectToObject(json, "ledger");
    cJSON_AddNumberToObject(ledger, "number", (double)head->number);
    cJSON_AddStringToObject(ledger, "hash", hash);
}

static cJSON *make_receipt(const struct wp_intake *intake)
{
    char digest[WP_SHA256_HEX];
    char receipt[32];
    wp_hex_encode(intake->digest, sizeof intake->digest, digest);
    snprintf(receipt, sizeof receipt, "%" PRId64, intake->receipt);
    cJSON *json = cJSON_CreateObject();
    cJSON_AddNumberToObject(json, "number", (double)intake->number);
    cJSON_AddStringToObject(json, "sha256", digest);
    cJSON_AddStringToObject(json, "receipt", receipt);
    cJSON_AddBoolToObject(json, "known", intake->known);
    add_ledger(json, &intake->head);
    return json;
}

static void done_take(void *job, enum wp_status status)
{
    struct upload *upload = job;
    struct wp_request *request = upload->request;
    if (upload->intake.adopt) /* it lies in the store now, or will be found there */
        request->body.path[0] = '\0';
    if (status) {
        wp_reply_problem(request, status, &upload->intake.error);
        return;
    }
    cJSON *json = make_receipt(&upload->intake);
    char *text = cJSON_PrintUnformatted(json);
    cJSON_Delete(json);
    wp_reply_text(request, upload->intake.repeated ? MHD_HTTP_OK : MHD_HTTP_CREATED, NULL, text,
                  text ? strlen(text) : 0);
}

/* ---- computing and recording ---- */

static void start_take(struct wp_request *request)
{
    struct upload *upload = request->state;
    enum wp_status status =
        wp_db_write(request->web->options.db, wp_act_take_capture, done_take, &upload->intake);
    if (status == WP_RETRY)
        wp_job_park(request, start_take);
    else if (status)
        wp_reply_problem(request, status, NULL);
}

static void work_prepare(void *job)
{
    struct upload *upload = job;
    upload->status = wp_intake_prepare(&upload->intake);
}

static void done_prepare(void *job, bool ran)
{
    struct upload *upload = job;
    if (!ran)
        wp_reply_problem(upload->request, WP_RETRY, NULL);
    else if (upload->status)
        wp_reply_problem(upload->request, upload->status, &upload->intake.error);
    else
        start_take(upload->request);
}

static void start_prepare(struct wp_request *request)
{
    if (wp_lane_submit(request->web->options.compute, work_prepare, done_prepare, request->state))
        wp_job_park(request, start_prepare);
}

/* ---- reading the request ---- */

static void point_to_body(struct upload *upload)
{
    const struct wp_body *body = &upload->request->body;
    upload->intake.size = (size_t)body->total;
    if (body->staged)
        upload->intake.stage_path = body->path;
    else
        upload->intake.data = body->memory.data ? body->memory.data : "";
}

/* Content-Digest is checked where there is one; agents must send it. */
static bool read_digest(struct upload *upload, bool must)
{
    struct wp_request *request = upload->request;
    const char *field = wp_request_field(request, "Content-Digest");
    if (field)
        upload->intake.has_expected = wp_content_digest_parse(field, upload->intake.expected);
    if (upload->intake.has_expected || (!field && !must))
        return true;
    wp_reply_problem_code(request, 400, "The field Content-Digest must hold a sha-256 value.");
    return false;
}

void wp_serve_capture(struct wp_request *request)
{
    struct upload *upload = request->state;
    const char *field = wp_request_field(request, "Wavepost-Capture");
    struct wp_error error;
    if (wp_capture_field(field, &upload->intake, &error)) {
        wp_reply_problem_code(request, 400, error.text);
        return;
    }
    if (!read_digest(upload, true))
        return;
    point_to_body(upload);
    start_prepare(request);
}

/* The file's name and, if the browser knows it, when it was last changed. */
void wp_serve_brought(struct wp_request *request)
{
    struct upload *upload = request->state;
    struct wp_intake *intake = &upload->intake;
    const char *name = wp_ask_text(&request->ask, "name");
    if (!name || !name[0] || strlen(name) > WP_INTAKE_PATH) {
        wp_reply_problem_code(request, 400, "The query must hold the file's name.");
        return;
    }
    snprintf(intake->path, sizeof intake->path, "%s", name);
    intake->captured_us = wp_clock_utc();
    intake->steady_us = wp_clock_steady();
    wp_clock_boot_id(intake->boot_id);
    if (!wp_ask_int(&request->ask, "mtime_us", &intake->mtime_us))
        intake->mtime_us = intake->captured_us;
    if (!read_digest(upload, false))
        return;
    point_to_body(upload);
    start_prepare(request);
}
