/* A capture comes in: from an agent, or from a stick by staff. Read the fields, compute on the
 * compute lane, record in a write job, and only then send the receipt. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/intake.h"
#include "base/clock.h"
#include "request.h"
#include "wire/messages.h"

#define RECEIPT_MOST 4096
#define OFFERED_MOST (64 * 1024)

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

static void fill_receipt(const struct wp_intake *intake, struct wp_wire_receipt *receipt)
{
    receipt->number = intake->number;
    wp_hex_encode(intake->digest, sizeof intake->digest, receipt->sha256);
    snprintf(receipt->receipt, sizeof receipt->receipt, "%" PRId64, intake->receipt);
    receipt->known = intake->known;
    receipt->removed = intake->removed;
    receipt->ledger.number = intake->head.number;
    wp_hex_encode(intake->head.hash, sizeof intake->head.hash, receipt->ledger.hash);
}

static void send_receipt(struct wp_request *request, const struct wp_intake *intake)
{
    struct wp_wire_receipt receipt = {0};
    struct wp_bytes text;
    wp_bytes_init(&text, RECEIPT_MOST);
    fill_receipt(intake, &receipt);
    enum wp_status status = wp_wire_receipt_put(&receipt, &text);
    size_t size = 0;
    char *taken = wp_bytes_take(&text, &size);
    if (!status) {
        wp_reply_text(request, intake->repeated ? MHD_HTTP_OK : MHD_HTTP_CREATED, NULL, taken,
                      size);
        return;
    }
    free(taken);
    wp_reply_problem(request, status, NULL);
}

/* What became of a file that a person brought: its spectra, or why there is none. */
static cJSON *outcome(const struct wp_intake *intake)
{
    const struct wp_error *error = &intake->reading.error;
    char digest[WP_SHA256_HEX];
    cJSON *root = cJSON_CreateObject();
    wp_hex_encode(intake->digest, sizeof intake->digest, digest);
    cJSON_AddStringToObject(root, "sha256", digest);
    cJSON_AddNumberToObject(root, "capture", (double)intake->receipt);
    cJSON_AddBoolToObject(root, "known", intake->known);
    cJSON *list = cJSON_AddArrayToObject(root, "measurements");
    for (size_t i = 0; i < intake->made_count; i++) {
        cJSON *made = cJSON_CreateObject();
        cJSON_AddNumberToObject(made, "id", (double)intake->made[i].id);
        cJSON_AddStringToObject(made, "accession", intake->made[i].accession);
        cJSON_AddBoolToObject(made, "known", intake->made[i].known);
        cJSON_AddItemToArray(list, made);
    }
    cJSON *unread = intake->made_count ? NULL : cJSON_AddObjectToObject(root, "unread");
    if (unread) {
        cJSON_AddStringToObject(unread, "text",
                                intake->removed
                                    ? "This file was removed on purpose and is not taken again."
                                : error->status ? error->text
                                                : "It holds no spectrum.");
        cJSON_AddNumberToObject(unread, "line", (double)error->line);
    }
    return root;
}

static void send_outcome(struct wp_request *request, const struct wp_intake *intake)
{
    cJSON *root = outcome(intake);
    char *text = root ? cJSON_PrintUnformatted(root) : NULL;
    cJSON_Delete(root);
    wp_reply_text(request, MHD_HTTP_CREATED, NULL, text, text ? strlen(text) : 0);
}

static void done_take(void *job, enum wp_status status)
{
    struct upload *upload = job;
    struct wp_request *request = upload->request;
    if (upload->intake.adopt) /* it lies in the store now, or will be found there */
        request->body.path[0] = '\0';
    if (status)
        wp_reply_problem(request, status, &upload->intake.error);
    else if (upload->intake.brought_by)
        send_outcome(request, &upload->intake);
    else
        send_receipt(request, &upload->intake);
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

/* To an agent 400 is for good, so a lack of memory must not look like it. */
static void reply_malformed(struct wp_request *request, enum wp_status status,
                            const struct wp_error *error)
{
    if (status == WP_NO_MEMORY)
        wp_reply_problem(request, status, NULL);
    else
        wp_reply_problem_code(request, 400, error->text);
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

static void take_over(const struct wp_wire_capture *capture, struct wp_intake *intake)
{
    intake->number = capture->number;
    snprintf(intake->path, sizeof intake->path, "%s", capture->path);
    intake->mtime_us = capture->mtime_us;
    intake->captured_us = capture->captured_us;
    intake->steady_us = capture->steady_us;
    snprintf(intake->boot_id, sizeof intake->boot_id, "%s", capture->boot_id);
    intake->backfill = capture->backfill;
}

void wp_serve_capture(struct wp_request *request)
{
    struct upload *upload = request->state;
    const char *field = wp_request_field(request, "Wavepost-Capture");
    struct wp_wire_capture capture;
    struct wp_error error = {.text = "The field Wavepost-Capture is missing."};
    enum wp_status status = field ? wp_wire_capture_field_get(field, &capture, &error) : WP_INVALID;
    if (status) {
        reply_malformed(request, status, &error);
        return;
    }
    take_over(&capture, &upload->intake);
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

/* ---- offers: bytes this agent sent before need not be sent again ---- */

struct offering {
    struct wp_request *request;
    struct wp_wire_offer offer;
    struct wp_wire_offered answer;
    struct wp_error error;
};

static enum wp_status offer_one(struct wp_txn *txn, struct offering *offering,
                                const struct wp_wire_capture *capture)
{
    struct wp_intake intake = {.proof = offering->request->proof};
    struct wp_wire_offered *answer = &offering->answer;
    take_over(capture, &intake);
    if (!wp_hex_decode(capture->sha256, intake.digest, sizeof intake.digest))
        return wp_fail(&offering->error, WP_INVALID, "sha256 must be 64 hexadecimal digits.");
    enum wp_status status = wp_act_take_capture(txn, &intake);
    if (status == WP_NOT_FOUND)
        answer->wanted[answer->wanted_count++] = capture->number;
    else if (!status)
        fill_receipt(&intake, &answer->receipts[answer->receipt_count++]);
    else
        offering->error = intake.error;
    wp_intake_release(&intake);
    return status == WP_NOT_FOUND ? WP_OK : status;
}

static enum wp_status run_offer(struct wp_txn *txn, void *job)
{
    struct offering *offering = job;
    offering->answer.receipt_count = offering->answer.wanted_count = 0;
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < offering->offer.count && !status; i++)
        status = offer_one(txn, offering, &offering->offer.captures[i]);
    return status;
}

static void done_offer(void *job, enum wp_status status)
{
    struct offering *offering = job;
    struct wp_request *request = offering->request;
    struct wp_bytes text;
    wp_bytes_init(&text, OFFERED_MOST);
    if (!status)
        status = wp_wire_offered_put(&offering->answer, &text);
    if (status) {
        wp_bytes_release(&text);
        wp_reply_problem(request, status, &offering->error);
        return;
    }
    size_t size = 0;
    char *taken = wp_bytes_take(&text, &size);
    wp_reply_text(request, MHD_HTTP_OK, NULL, taken, size);
}

static void start_offer(struct wp_request *request)
{
    if (wp_db_write(request->web->options.db, run_offer, done_offer, request->state))
        wp_job_park(request, start_offer);
}

void wp_serve_offer(struct wp_request *request)
{
    struct offering *offering = calloc(1, sizeof *offering);
    if (!offering) {
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
        return;
    }
    offering->request = request;
    request->state = offering;
    request->state_free = free;
    const struct wp_bytes *body = &request->body.memory;
    enum wp_status status = wp_wire_offer_get(body->data ? body->data : "", body->size,
                                              &offering->offer, &offering->error);
    if (status)
        reply_malformed(request, status, &offering->error);
    else
        start_offer(request);
}
