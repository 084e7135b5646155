/* What is asked of a printer: its state, and its jobs. */
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "ipp_parts.h"

enum { JOBS_MOST = 1000 };

/* All values of an attribute, joined by commas and cut at `room`. */
static void join_values(ipp_t *answer, const char *name, char *text, size_t room)
{
    ipp_attribute_t *found = ippFindAttribute(answer, name, IPP_TAG_ZERO);
    int count = found != NULL ? ippGetCount(found) : 0;
    size_t used = 0;
    text[0] = '\0';
    for (int i = 0; i < count; i++) {
        const char *value = ippGetString(found, i, NULL);
        if (value == NULL || strcmp(value, "none") == 0)
            continue;
        size_t size = strlen(value);
        if (used + size + 2 > room || !wp_utf8_valid(value, size))
            return;
        used += (size_t)snprintf(text + used, room - used, "%s%s", used > 0 ? "," : "", value);
    }
}

static int int_of(ipp_t *answer, const char *name, ipp_tag_t tag, int absent)
{
    ipp_attribute_t *found = ippFindAttribute(answer, name, tag);
    return found != NULL ? ippGetInteger(found, 0) : absent;
}

static int flag_of(ipp_t *answer, const char *name, int absent)
{
    ipp_attribute_t *found = ippFindAttribute(answer, name, IPP_TAG_BOOLEAN);
    return found != NULL ? ippGetBoolean(found, 0) : absent;
}

static bool creates_jobs(ipp_t *answer)
{
    ipp_attribute_t *found = ippFindAttribute(answer, "operations-supported", IPP_TAG_ENUM);
    return found != NULL && ippContainsInteger(found, IPP_OP_CREATE_JOB) &&
           ippContainsInteger(found, IPP_OP_SEND_DOCUMENT);
}

/* A printer that does not list formats is believed. */
static bool takes_pdf(ipp_t *answer)
{
    ipp_attribute_t *found =
        ippFindAttribute(answer, "document-format-supported", IPP_TAG_MIMETYPE);
    return found == NULL || ippContainsString(found, "application/pdf");
}

static void read_look(ipp_t *answer, struct wp_ipp_look *look)
{
    memset(look, 0, sizeof *look);
    look->words.state = int_of(answer, "printer-state", IPP_TAG_ENUM, 0);
    look->words.accepting = flag_of(answer, "printer-is-accepting-jobs", 1) != 0;
    join_values(answer, "printer-state-reasons", look->words.reasons, sizeof look->words.reasons);
    look->jobs = int_of(answer, "queued-job-count", IPP_TAG_INTEGER, -1);
    look->up_time = int_of(answer, "printer-up-time", IPP_TAG_INTEGER, 0);
    look->creates_jobs = creates_jobs(answer);
    look->takes_pdf = takes_pdf(answer);
    look->colour = flag_of(answer, "color-supported", -1);
    join_values(answer, "printer-make-and-model", look->model, sizeof look->model);
    join_values(answer, "media-ready", look->media, sizeof look->media);
    join_values(answer, "sides-supported", look->sides, sizeof look->sides);
}

enum wp_status wp_ipp_ask(struct wp_ipp *ipp, struct wp_ipp_look *look, struct wp_error *error)
{
    static const char *const wanted[] = {"printer-state",
                                         "printer-state-reasons",
                                         "printer-is-accepting-jobs",
                                         "queued-job-count",
                                         "printer-up-time",
                                         "operations-supported",
                                         "document-format-supported",
                                         "color-supported",
                                         "printer-make-and-model",
                                         "media-ready",
                                         "sides-supported"};
    ipp_t *request = wp_ipp_request(ipp, IPP_OP_GET_PRINTER_ATTRIBUTES);
    if (request != NULL)
        ippAddStrings(request, IPP_TAG_OPERATION, IPP_TAG_KEYWORD, "requested-attributes",
                      sizeof wanted / sizeof *wanted, NULL, wanted);
    ipp_t *answer;
    enum wp_status status = wp_ipp_exchange(ipp, request, NULL, 0, &answer, error);
    if (!status)
        read_look(answer, look);
    ippDelete(answer);
    return status;
}

static void add_job_fields(ipp_t *request, const char *name, const char *media)
{
    if (request == NULL)
        return;
    wp_ipp_request_user(request);
    ippAddString(request, IPP_TAG_OPERATION, IPP_TAG_NAME, "job-name", NULL, name);
    ippAddString(request, IPP_TAG_JOB, IPP_TAG_KEYWORD, "media", NULL, media);
    ippAddString(request, IPP_TAG_JOB, IPP_TAG_KEYWORD, "sides", NULL, "one-sided");
}

static enum wp_status take_job(ipp_t *answer, enum wp_status status, int *job,
                               struct wp_error *error)
{
    if (status)
        return status;
    *job = int_of(answer, "job-id", IPP_TAG_INTEGER, 0);
    return *job > 0 ? WP_OK : wp_fail(error, WP_RETRY, "gave no number to the job");
}

enum wp_status wp_ipp_create(struct wp_ipp *ipp, const char *name, const char *media, int *job,
                             struct wp_error *error)
{
    ipp_t *request = wp_ipp_request(ipp, IPP_OP_CREATE_JOB);
    add_job_fields(request, name, media);
    ipp_t *answer;
    enum wp_status status = wp_ipp_exchange(ipp, request, NULL, 0, &answer, error);
    status = take_job(answer, status, job, error);
    ippDelete(answer);
    return status;
}

enum wp_status wp_ipp_print(struct wp_ipp *ipp, const char *name, const char *media,
                            const void *pdf, size_t size, int *job, struct wp_error *error)
{
    ipp_t *request = wp_ipp_request(ipp, IPP_OP_PRINT_JOB);
    if (request != NULL)
        ippAddString(request, IPP_TAG_OPERATION, IPP_TAG_MIMETYPE, "document-format", NULL,
                     "application/pdf");
    add_job_fields(request, name, media);
    ipp_t *answer;
    enum wp_status status = wp_ipp_exchange(ipp, request, pdf, size, &answer, error);
    status = take_job(answer, status, job, error);
    ippDelete(answer);
    return status;
}

static ipp_t *job_request(struct wp_ipp *ipp, ipp_op_t operation, int job)
{
    ipp_t *request = wp_ipp_request(ipp, operation);
    if (request == NULL)
        return NULL;
    ippAddInteger(request, IPP_TAG_OPERATION, IPP_TAG_INTEGER, "job-id", job);
    wp_ipp_request_user(request);
    return request;
}

enum wp_status wp_ipp_send(struct wp_ipp *ipp, int job, const void *pdf, size_t size,
                           struct wp_error *error)
{
    ipp_t *request = job_request(ipp, IPP_OP_SEND_DOCUMENT, job);
    if (request != NULL) {
        ippAddString(request, IPP_TAG_OPERATION, IPP_TAG_MIMETYPE, "document-format", NULL,
                     "application/pdf");
        ippAddBoolean(request, IPP_TAG_OPERATION, "last-document", 1);
    }
    ipp_t *answer;
    enum wp_status status = wp_ipp_exchange(ipp, request, pdf, size, &answer, error);
    ippDelete(answer);
    return status;
}

enum wp_status wp_ipp_cancel(struct wp_ipp *ipp, int job, struct wp_error *error)
{
    ipp_t *answer;
    enum wp_status status =
        wp_ipp_exchange(ipp, job_request(ipp, IPP_OP_CANCEL_JOB, job), NULL, 0, &answer, error);
    ippDelete(answer);
    return status;
}

static enum wp_job_state job_state(int told)
{
    return told >= WP_JOB_PENDING && told <= WP_JOB_COMPLETED ? (enum wp_job_state)told
                                                              : WP_JOB_UNKNOWN;
}

static bool has_name(ipp_t *answer, const char *name)
{
    ipp_attribute_t *found = ippFindAttribute(answer, "job-name", IPP_TAG_ZERO);
    const char *told = found != NULL ? ippGetString(found, 0, NULL) : NULL;
    return told != NULL && strcmp(told, name) == 0;
}

enum wp_status wp_ipp_job(struct wp_ipp *ipp, int job, const char *name, struct wp_job_words *words,
                          struct wp_error *error)
{
    static const char *const wanted[] = {"job-name", "job-state", "job-state-reasons",
                                         "job-impressions-completed", "job-media-sheets-completed"};
    ipp_t *request = job_request(ipp, IPP_OP_GET_JOB_ATTRIBUTES, job);
    if (request != NULL)
        ippAddStrings(request, IPP_TAG_OPERATION, IPP_TAG_KEYWORD, "requested-attributes",
                      sizeof wanted / sizeof *wanted, NULL, wanted);
    ipp_t *answer;
    enum wp_status status = wp_ipp_exchange(ipp, request, NULL, 0, &answer, error);
    if (!status && !has_name(answer, name))
        status = wp_fail(error, WP_NOT_FOUND, "has another job of that number");
    if (!status) {
        int sheets = int_of(answer, "job-media-sheets-completed", IPP_TAG_INTEGER, -1);
        words->state = job_state(int_of(answer, "job-state", IPP_TAG_ENUM, 0));
        words->impressions = int_of(answer, "job-impressions-completed", IPP_TAG_INTEGER, -1);
        if (sheets > words->impressions)
            words->impressions = sheets;
        join_values(answer, "job-state-reasons", words->reasons, sizeof words->reasons);
    }
    ippDelete(answer);
    return status;
}

/* One job of a list, as its group of attributes is walked. */
struct listed {
    int id;
    int created;
    bool ours;
};

static void end_of_job(const struct listed *one, bool finished, int *job, struct wp_job_list *list)
{
    if (one->id == 0)
        return;
    if (one->ours && one->id > *job)
        *job = one->id;
    if (finished && one->created > 0 && (list->oldest == 0 || one->created < list->oldest))
        list->oldest = one->created;
}

static void read_list(ipp_t *answer, const char *name, bool finished, int *job,
                      struct wp_job_list *list)
{
    struct listed one = {0};
    for (ipp_attribute_t *at = ippFirstAttribute(answer); at != NULL;
         at = ippNextAttribute(answer)) {
        const char *key = ippGetName(at);
        if (ippGetGroupTag(at) != IPP_TAG_JOB || key == NULL) {
            end_of_job(&one, finished, job, list);
            one = (struct listed){0};
        } else if (strcmp(key, "job-id") == 0) {
            one.id = ippGetInteger(at, 0);
        } else if (strcmp(key, "time-at-creation") == 0) {
            one.created = ippGetInteger(at, 0);
        } else if (strcmp(key, "job-name") == 0) {
            const char *told = ippGetString(at, 0, NULL);
            one.ours = told != NULL && strcmp(told, name) == 0;
        }
    }
    end_of_job(&one, finished, job, list);
}

static enum wp_status list_jobs(struct wp_ipp *ipp, const char *which, const char *name, int *job,
                                struct wp_job_list *list, struct wp_error *error)
{
    static const char *const wanted[] = {"job-id", "job-name", "time-at-creation"};
    ipp_t *request = wp_ipp_request(ipp, IPP_OP_GET_JOBS);
    if (request != NULL) {
        wp_ipp_request_user(request);
        ippAddString(request, IPP_TAG_OPERATION, IPP_TAG_KEYWORD, "which-jobs", NULL, which);
        ippAddInteger(request, IPP_TAG_OPERATION, IPP_TAG_INTEGER, "limit", JOBS_MOST);
        ippAddStrings(request, IPP_TAG_OPERATION, IPP_TAG_KEYWORD, "requested-attributes",
                      sizeof wanted / sizeof *wanted, NULL, wanted);
    }
    ipp_t *answer;
    enum wp_status status = wp_ipp_exchange(ipp, request, NULL, 0, &answer, error);
    /* An answer that ignored some attribute is not one to conclude absence from. */
    list->complete = !status && ippGetStatusCode(answer) == IPP_STATUS_OK;
    if (!status)
        read_list(answer, name, strcmp(which, "completed") == 0, job, list);
    ippDelete(answer);
    return status;
}

enum wp_status wp_ipp_find(struct wp_ipp *ipp, const char *name, int *job, struct wp_job_list *list,
                           struct wp_error *error)
{
    memset(list, 0, sizeof *list);
    *job = 0;
    enum wp_status status = list_jobs(ipp, "not-completed", name, job, list, error);
    bool first_complete = list->complete;
    if (!status && *job == 0)
        status = list_jobs(ipp, "completed", name, job, list, error);
    list->complete = list->complete && first_complete;
    if (status)
        return status;
    return *job > 0 ? WP_OK : wp_fail(error, WP_NOT_FOUND, "has no job of that name");
}
