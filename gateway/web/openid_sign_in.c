/* Signing in through the site's provider: the browser goes there, and comes back with a code. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <sodium.h>

#include "acts/provider.h"
#include "fields.h"
#include "openid/openid.h"
#include "problem.h"
#include "request.h"

#define COOKIE "wavepost_openid"
#define PAGE "/#/sign-in"

struct provider {
    struct wp_provider_try try; /* first: the jobs get its address */
    struct wp_request *request;
    char code[512];
};

static struct wp_openid *site_provider(const struct wp_request *request)
{
    struct wp_openid *const *openid = request->web->options.openid;
    return openid ? *openid : NULL;
}

static void free_provider(void *state)
{
    sodium_memzero(state, sizeof(struct provider));
    free(state);
}

static void set_cookie(const struct wp_request *request, struct MHD_Response *response,
                       const char *name, const char *token, long age_s)
{
    char text[256];
    (void)snprintf(text, sizeof text, "%s=%s; Path=/; HttpOnly; SameSite=Lax%s; Max-Age=%ld", name,
                   token, request->web->secure ? "; Secure" : "", age_s);
    wp_reply_header(response, MHD_HTTP_HEADER_SET_COOKIE, text);
}

/* A browser is here, not a script: what went wrong stands on a page, with the way back. */
static void say(struct wp_request *request, unsigned code, const char *detail)
{
    char *html = wp_say_html("Not signed in", detail, PAGE);
    wp_reply_text(request, code, "text/html; charset=utf-8", html, html ? strlen(html) : 0);
}

static void say_busy(struct wp_request *request)
{
    say(request, 503, "The college's sign-in does not answer. Try again, or use a mailed link.");
}

static struct provider *begin(struct wp_request *request)
{
    struct provider *provider = calloc(1, sizeof *provider);
    if (!site_provider(request) || !provider) {
        free(provider);
        say(request, 404, "There is no college sign-in here. Use a mailed link.");
        return NULL;
    }
    request->state = provider;
    request->state_free = free_provider;
    provider->request = request;
    (void)snprintf(provider->try.address, sizeof provider->try.address, "%s", request->address);
    return provider;
}

/* ---- there ---- */

static void go(void *arg, enum wp_status status, const char *url)
{
    const struct provider *provider = arg;
    struct wp_request *request = provider->request;
    struct MHD_Response *response =
        status ? NULL : MHD_create_response_from_buffer(0, (void *)"", MHD_RESPMEM_PERSISTENT);
    if (!response) {
        say_busy(request);
        return;
    }
    set_cookie(request, response, COOKIE, provider->try.token,
               (long)(WP_PROVIDER_LIFE / WP_SECOND));
    wp_reply_header(response, MHD_HTTP_HEADER_LOCATION, url);
    wp_reply_response(request, MHD_HTTP_SEE_OTHER, response);
}

static void done_begin(void *job, enum wp_status status)
{
    struct provider *provider = job;
    if (status == WP_RETRY)
        say(provider->request, 429, "Too many sign-ins from here. Please wait a while.");
    else if (status)
        wp_reply_problem(provider->request, status, NULL);
    else
        wp_openid_begin(site_provider(provider->request), provider->try.token, go, provider);
}

static void start_begin(struct wp_request *request)
{
    if (wp_db_write(request->web->options.db, wp_provider_begin, done_begin, request->state))
        wp_job_park(request, start_begin);
}

void wp_serve_provider_begin(struct wp_request *request)
{
    if (begin(request))
        start_begin(request);
}

/* ---- and back ---- */

static enum wp_status run_success(struct wp_txn *txn, void *job)
{
    struct provider *provider = job;
    wp_job_reset(provider->request);
    return wp_provider_success(txn, &provider->try, &provider->request->out);
}

static void done_success(void *job, enum wp_status status)
{
    const struct provider *provider = job;
    struct wp_request *request = provider->request;
    const char *token =
        cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(request->out, WP_SESSION_MEMBER));
    struct MHD_Response *response =
        status || !token ? NULL
                         : MHD_create_response_from_buffer(0, (void *)"", MHD_RESPMEM_PERSISTENT);
    if (status == WP_DENIED) {
        say(request, 403, provider->try.error.text);
        return;
    }
    if (!response) {
        wp_reply_problem(request, status ? status : WP_NO_MEMORY, NULL);
        return;
    }
    set_cookie(request, response, WP_SESSION_COOKIE, token, (long)(WP_SESSION_LIFE / WP_SECOND));
    set_cookie(request, response, COOKIE, "", 0);
    wp_reply_header(response, MHD_HTTP_HEADER_LOCATION, "/");
    wp_reply_response(request, MHD_HTTP_SEE_OTHER, response);
}

static void start_success(struct wp_request *request)
{
    if (wp_db_write(request->web->options.db, run_success, done_success, request->state))
        wp_job_park(request, start_success);
}

static void known(void *arg, enum wp_status status, const char *name)
{
    struct provider *provider = arg;
    (void)snprintf(provider->try.name, sizeof provider->try.name, "%s", name);
    provider->try.by_email = provider->request->web->options.openid_by_email;
    if (!status)
        start_success(provider->request);
    else if (status == WP_RETRY)
        say_busy(provider->request);
    else
        say(provider->request, 403,
            "What the college's sign-in said could not be believed. Try again; if it stays so, "
            "tell "
            "the administrator: the gateway's log says why.");
}

static void done_back(void *job, enum wp_status status)
{
    struct provider *provider = job;
    struct wp_request *request = provider->request;
    if (status == WP_NOT_FOUND)
        say(request, 403, "This sign-in was used already, or took too long. Begin again.");
    else if (status)
        wp_reply_problem(request, status, NULL);
    else if (!provider->code[0])
        say(request, 403, "The college's sign-in did not let you in.");
    else
        wp_openid_finish(site_provider(request), provider->try.token, provider->code, known,
                         provider);
}

static void start_back(struct wp_request *request)
{
    if (wp_db_write(request->web->options.db, wp_provider_back, done_back, request->state))
        wp_job_park(request, start_back);
}

/* An answer counts only in the browser that began, and only one that comes from our provider. */
static bool belongs(const struct wp_request *request, struct provider *provider)
{
    const char *state = wp_ask_text(&request->ask, "state");
    const char *cookies = wp_request_field(request, MHD_HTTP_HEADER_COOKIE);
    char *token = provider->try.token;
    return state && wp_cookie_find(cookies, COOKIE, token, sizeof provider->try.token) && *token &&
           wp_openid_state_is(token, state) &&
           wp_openid_issuer_is(site_provider(request), wp_ask_text(&request->ask, "iss"));
}

void wp_serve_provider_back(struct wp_request *request)
{
    const char *code = wp_ask_text(&request->ask, "code");
    struct provider *provider = begin(request);
    if (!provider)
        return;
    if (!belongs(request, provider) || (code && strlen(code) >= sizeof provider->code)) {
        say(request, 403, "This sign-in was not begun in this browser. Begin again.");
        return;
    }
    (void)snprintf(provider->code, sizeof provider->code, "%s", code ? code : "");
    start_back(request);
}

/* ---- what the sign-in page offers ---- */

void wp_serve_sign_in_ways(struct wp_request *request)
{
    cJSON *json = cJSON_CreateObject();
    const char *button = site_provider(request) ? request->web->options.openid_button : NULL;
    if (button)
        cJSON_AddStringToObject(json, "provider", button);
    else
        cJSON_AddNullToObject(json, "provider");
    char *text = cJSON_PrintUnformatted(json);
    cJSON_Delete(json);
    wp_reply_text(request, MHD_HTTP_OK, NULL, text, text ? strlen(text) : 0);
}
