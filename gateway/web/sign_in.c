/* Signing in by password and asking for a link: the parts that must not run in a write job. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <sodium.h>

#include "acts/setup_acts.h"
#include "base/log.h"
#include "request.h"

#define PASSWORD_MOST 1024

/* ---- by password ---- */

struct sign_in {
    struct wp_password_try try; /* first: the first job gets its address */
    struct wp_request *request;
    char password[PASSWORD_MOST + 1];
    bool known, good;
};

static void free_sign_in(void *state)
{
    struct sign_in *sign_in = state;
    sodium_memzero(sign_in->password, sizeof sign_in->password);
    free(sign_in);
}

static enum wp_status run_success(struct wp_txn *txn, void *job)
{
    struct sign_in *sign_in = job;
    struct wp_request *request = sign_in->request;
    wp_job_reset(request);
    enum wp_status status = wp_password_success(txn, &sign_in->try, &request->out);
    return status ? status : wp_job_print(request);
}

static void done_success(void *job, enum wp_status status)
{
    struct sign_in *sign_in = job;
    sign_in->request->status = status;
    wp_reply_outcome(sign_in->request);
}

static void start_success(struct wp_request *request)
{
    if (wp_db_write(request->web->options.db, run_success, done_success, request->state))
        wp_job_park(request, start_success);
}

/* Somebody unknown costs the same time as somebody known. */
static void work_check(void *job)
{
    struct sign_in *sign_in = job;
    char hash[WP_PASSWORD_ROOM];
    if (sign_in->known)
        sign_in->good = wp_password_check(sign_in->password, sign_in->try.hash);
    else
        (void)wp_password_hash(sign_in->password, hash);
}

static void done_check(void *job, bool ran)
{
    struct sign_in *sign_in = job;
    if (!ran)
        wp_reply_problem(sign_in->request, WP_RETRY, NULL);
    else if (sign_in->good)
        start_success(sign_in->request);
    else
        wp_reply_problem_code(sign_in->request, 401, "The name or the password is wrong.");
}

static void start_check(struct wp_request *request)
{
    if (wp_lane_submit(request->web->options.passwords, work_check, done_check, request->state))
        wp_job_park(request, start_check);
}

static void done_begin(void *job, enum wp_status status)
{
    struct sign_in *sign_in = job;
    struct wp_error often = {.text = "Too many tries. Please wait a few minutes."};
    sign_in->known = status == WP_OK;
    if (status == WP_OK || status == WP_NOT_FOUND)
        start_check(sign_in->request);
    else
        wp_reply_problem(sign_in->request, status, status == WP_RETRY ? &often : NULL);
}

static void start_begin(struct wp_request *request)
{
    if (wp_db_write(request->web->options.db, wp_password_begin, done_begin, request->state))
        wp_job_park(request, start_begin);
}

void wp_serve_sign_in(struct wp_request *request)
{
    const char *login = wp_ask_text(&request->ask, "login");
    const char *password = wp_ask_text(&request->ask, "password");
    struct sign_in *sign_in = NULL;
    if (!login || !password) {
        wp_reply_problem_code(request, 422, "Please give a name and a password.");
        return;
    }
    if (strlen(login) >= sizeof sign_in->try.login || strlen(password) > PASSWORD_MOST) {
        wp_reply_problem_code(request, 422,
                              "Longer than any sign-in name (64 bytes) or password (1,024).");
        return;
    }
    sign_in = calloc(1, sizeof *sign_in);
    if (!sign_in) {
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
        return;
    }
    request->state = sign_in;
    request->state_free = free_sign_in;
    sign_in->request = request;
    snprintf(sign_in->try.login, sizeof sign_in->try.login, "%s", login);
    snprintf(sign_in->try.address, sizeof sign_in->try.address, "%s", request->address);
    snprintf(sign_in->password, sizeof sign_in->password, "%s", password);
    start_begin(request);
}

/* ---- a new password for somebody ---- */

struct new_password {
    struct wp_request *request;
    char hash[WP_PASSWORD_ROOM];
    enum wp_status status;
};

static void work_hash(void *job)
{
    struct new_password *made = job;
    made->status = wp_password_hash(wp_ask_text(&made->request->ask, "password"), made->hash);
}

static void done_hash(void *job, bool ran)
{
    struct new_password *made = job;
    struct wp_request *request = made->request;
    enum wp_status status = ran ? made->status : WP_RETRY;
    cJSON_DeleteItemFromObjectCaseSensitive(request->json, "password");
    if (!status && !cJSON_AddStringToObject(request->json, "password_hash", made->hash))
        status = WP_NO_MEMORY;
    if (status)
        wp_reply_problem(request, status, NULL);
    else
        wp_job_act(request, wp_act_person_put);
}

static void start_hash(struct wp_request *request)
{
    if (wp_lane_submit(request->web->options.passwords, work_hash, done_hash, request->state))
        wp_job_park(request, start_hash);
}

/* A hash never comes from outside: only what was hashed here is handed on. */
void wp_serve_person_put(struct wp_request *request)
{
    const char *password = wp_ask_text(&request->ask, "password");
    cJSON_DeleteItemFromObjectCaseSensitive(request->json, "password_hash");
    cJSON_DeleteItemFromObjectCaseSensitive(request->query, "password_hash");
    if (!password || !request->json) {
        wp_job_act(request, wp_act_person_put);
        return;
    }
    if (strlen(password) < 8 || strlen(password) > PASSWORD_MOST) {
        wp_reply_problem_code(request, 422, "A password has 8 to 1,024 bytes.");
        return;
    }
    struct new_password *made = calloc(1, sizeof *made);
    if (!made) {
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
        return;
    }
    made->request = request;
    request->state = made;
    request->state_free = free;
    start_hash(request);
}

/* ---- by a mailed link ---- */

struct link_request {
    struct wp_link_wanted wanted; /* first: the job gets its address */
    struct wp_request *request;
};

/* The same answer whether there is such a person or not. */
static void done_link(void *job, enum wp_status status)
{
    struct link_request *link = job;
    struct wp_request *request = link->request;
    struct wp_error often = {.text = "Too many links were asked for. Please wait a few minutes."};
    if (status && status != WP_NOT_FOUND) {
        wp_reply_problem(request, status, status == WP_RETRY ? &often : NULL);
        return;
    }
    if (!status && link->wanted.email[0] && request->web->options.send_link)
        request->web->options.send_link(request->web->options.arg, &link->wanted);
    wp_reply_text(request, MHD_HTTP_ACCEPTED, NULL, strdup("{\"sent\":true}"), 13);
}

static void start_link(struct wp_request *request)
{
    if (wp_db_write(request->web->options.db, wp_link_begin, done_link, request->state))
        wp_job_park(request, start_link);
}

void wp_serve_sign_in_link(struct wp_request *request)
{
    const char *login = wp_ask_text(&request->ask, "login");
    struct link_request *link = NULL;
    if (!login) {
        wp_reply_problem_code(request, 422, "Please give your sign-in name.");
        return;
    }
    if (strlen(login) >= sizeof link->wanted.login) {
        wp_reply_problem_code(request, 422, "A sign-in name has at most 64 characters.");
        return;
    }
    link = calloc(1, sizeof *link);
    if (!link) {
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
        return;
    }
    request->state = link;
    request->state_free = free;
    link->request = request;
    snprintf(link->wanted.login, sizeof link->wanted.login, "%s", login);
    snprintf(link->wanted.address, sizeof link->wanted.address, "%s", request->address);
    start_link(request);
}
