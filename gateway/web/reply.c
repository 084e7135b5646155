#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/log.h"
#include "fields.h"
#include "problem.h"
#include "request.h"

/* Scripts, styles, pictures and connections from ourselves alone; nobody frames us. */
#define POLICY                                                                                     \
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "              \
    "connect-src 'self'; font-src 'self'; manifest-src 'self'; form-action 'self'; "               \
    "base-uri 'none'; frame-ancestors 'none'"
/* What came from elsewhere (originals, drawings) runs nothing at all. */
#define DOCUMENT_POLICY                                                                            \
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; frame-ancestors "      \
    "'none'"

void wp_reply_header(struct MHD_Response *response, const char *name, const char *value)
{
    if (MHD_add_response_header(response, name, value) != MHD_YES)
        wp_log(WP_LOG_WARN, "web", "header %s could not be added", name);
}

static bool has_header(struct MHD_Response *response, const char *name)
{
    return MHD_get_response_header(response, name) != NULL;
}

static void add_standard(struct wp_request *request, struct MHD_Response *response)
{
    if (!has_header(response, "Content-Security-Policy"))
        wp_reply_header(response, "Content-Security-Policy", POLICY);
    if (!has_header(response, "Cache-Control"))
        wp_reply_header(response, "Cache-Control", "no-store");
    wp_reply_header(response, "X-Content-Type-Options", "nosniff");
    wp_reply_header(response, "Referrer-Policy", "same-origin");
    wp_reply_header(response, "Cross-Origin-Resource-Policy", "same-origin");
    wp_reply_header(response, "X-Frame-Options", "DENY");
    if (request->web->strict)
        wp_reply_header(response, "Strict-Transport-Security", "max-age=31536000");
    if (request->close)
        wp_reply_header(response, "Connection", "close");
}

void wp_reply_response(struct wp_request *request, unsigned code, struct MHD_Response *response)
{
    add_standard(request, response);
    request->response = response;
    request->code = code;
    wp_request_wake(request);
}

/* Without memory for an answer the connection is closed: the handler sees no response. */
static void give_up(struct wp_request *request)
{
    request->close = true;
    wp_request_wake(request);
}

static struct MHD_Response *from_text(char *text, size_t size)
{
    struct MHD_Response *response =
        text ? MHD_create_response_from_buffer(size, text, MHD_RESPMEM_MUST_FREE) : NULL;
    if (!response)
        free(text);
    return response;
}

void wp_reply_text(struct wp_request *request, unsigned code, const char *type, char *text,
                   size_t size)
{
    struct MHD_Response *response = from_text(text, size);
    if (!response) {
        give_up(request);
        return;
    }
    wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type ? type : "application/json");
    wp_reply_response(request, code, response);
}

void wp_reply_static(struct wp_request *request, const char *type, const void *data, size_t size,
                     const char *etag)
{
    const char *held = wp_request_field(request, MHD_HTTP_HEADER_IF_NONE_MATCH);
    bool same = held && (strstr(held, etag) || !strcmp(held, "*"));
    union {
        const void *in;
        void *out; /* the library only reads it */
    } content = {.in = same ? "" : data};
    struct MHD_Response *response =
        MHD_create_response_from_buffer(same ? 0 : size, content.out, MHD_RESPMEM_PERSISTENT);
    if (!response) {
        give_up(request);
        return;
    }
    wp_reply_header(response, MHD_HTTP_HEADER_ETAG, etag);
    wp_reply_header(response, MHD_HTTP_HEADER_CACHE_CONTROL, "no-cache");
    if (!same)
        wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type);
    wp_reply_response(request, same ? MHD_HTTP_NOT_MODIFIED : MHD_HTTP_OK, response);
}

void wp_reply_document(struct wp_request *request, const char *type, bool attachment,
                       const char *name, char *data, size_t size)
{
    struct MHD_Response *response = from_text(data, size);
    if (!response) {
        give_up(request);
        return;
    }
    char disposition[WP_DISPOSITION_ROOM];
    wp_disposition(attachment, name, disposition);
    wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type);
    wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_DISPOSITION, disposition);
    wp_reply_header(response, "Content-Security-Policy", DOCUMENT_POLICY);
    wp_reply_response(request, MHD_HTTP_OK, response);
}

void wp_reply_redirect(struct wp_request *request, const char *path)
{
    struct MHD_Response *response =
        MHD_create_response_from_buffer(0, (void *)"", MHD_RESPMEM_PERSISTENT);
    if (!response) {
        give_up(request);
        return;
    }
    wp_reply_header(response, MHD_HTTP_HEADER_LOCATION, path);
    wp_reply_response(request, MHD_HTTP_SEE_OTHER, response);
}

/* Somebody opened an address in a browser; scripts ask for JSON, images for images. */
static bool opened(const struct wp_request *request)
{
    const char *accept = wp_request_field(request, MHD_HTTP_HEADER_ACCEPT);
    return accept && strstr(accept, "text/html");
}

static void send_problem(struct wp_request *request, unsigned code, enum wp_status status,
                         const struct wp_error *error, const char *detail)
{
    unsigned long long limit = code == 413 ? request->body.most : 0;
    const char *back = wp_request_field(request, MHD_HTTP_HEADER_REFERER);
    bool page = request->form || (request->route && request->route->page) || opened(request);
    /* A device that opens its bench before it is enrolled is shown where that is done. */
    if (code == 401 && request->route && request->route->page && request->route->view) {
        wp_reply_redirect(request, "/bench");
        return;
    }
    char *text = page ? wp_problem_html(code, detail, back)
                      : wp_problem_json(code, status, detail, request->path, error, limit);
    struct MHD_Response *response = from_text(text, text ? strlen(text) : 0);
    if (!response) {
        give_up(request);
        return;
    }
    wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_TYPE,
                    page ? "text/html; charset=utf-8" : "application/problem+json");
    if (code == 401)
        wp_reply_header(response, MHD_HTTP_HEADER_WWW_AUTHENTICATE, "Bearer realm=\"wavepost\"");
    if (code == 405)
        wp_reply_header(response, MHD_HTTP_HEADER_ALLOW, request->match.allow);
    if (code == 429 || code == 503)
        wp_reply_header(response, MHD_HTTP_HEADER_RETRY_AFTER, code == 429 ? "60" : "2");
    wp_reply_response(request, code, response);
}

void wp_reply_problem_code(struct wp_request *request, unsigned code, const char *detail)
{
    send_problem(request, code, WP_OK, NULL, detail);
}

/* What the storage said is for the log; callers learn that it failed and nothing of how. */
static const char *detail_of(unsigned code, const struct wp_error *error)
{
    if (error && error->text[0])
        return error->text;
    switch (code) {
    case 401:
        return "Please sign in.";
    case 403:
        return "You may not do this.";
    case 404:
        return "There is nothing here under this name.";
    case 409:
        return "This does not fit what is recorded.";
    case 500:
        return "The gateway could not do this; its log says why.";
    case 503:
        return "The gateway is busy. Please try again.";
    case 507:
        return "The gateway's disk is full.";
    default:
        return "";
    }
}

void wp_reply_problem(struct wp_request *request, enum wp_status status,
                      const struct wp_error *error)
{
    unsigned code = wp_problem_code(status, error);
    if (status == WP_DENIED && request->who.roles == WP_ROLE_NONE)
        code = 401;
    if (status == WP_CONFLICT && request->route && (request->route->flags & WP_ROUTE_EXPIRES))
        code = 410;
    if (code == 500)
        wp_log(WP_LOG_ERROR, "web", "%s: %s: %s", request->route ? request->route->path : "request",
               wp_status_name(status), error ? error->text : "");
    send_problem(request, code, status, error, detail_of(code, error));
}

/* ---- what a job left ---- */

static void set_cookie(struct wp_request *request, struct MHD_Response *response, const char *name,
                       const cJSON *value, long age_s)
{
    if (!value)
        return;
    const char *token = cJSON_GetStringValue(value);
    char text[256];
    snprintf(text, sizeof text, "%s=%s; Path=/; HttpOnly; SameSite=Lax%s; Max-Age=%ld", name,
             token ? token : "", request->web->secure ? "; Secure" : "", token ? age_s : 0L);
    wp_reply_header(response, MHD_HTTP_HEADER_SET_COOKIE, text);
}

static void set_cookies(struct wp_request *request, struct MHD_Response *response)
{
    if (!(request->route->flags & WP_ROUTE_COOKIES) || !request->out)
        return;
    set_cookie(request, response, WP_SESSION_COOKIE,
               cJSON_GetObjectItemCaseSensitive(request->out, WP_SESSION_MEMBER),
               (long)(WP_SESSION_LIFE / WP_SECOND));
    set_cookie(request, response, WP_BENCH_COOKIE,
               cJSON_GetObjectItemCaseSensitive(request->out, WP_BENCH_MEMBER), 400L * 24 * 3600);
}

/* Where a form wants to go afterwards: a path of ours, or back to where it stood. */
static const char *form_target(const struct wp_request *request)
{
    const char *then = wp_ask_text(&request->ask, "then");
    if (then && then[0] == '/' && then[1] != '/' && then[1] != '\\' && !strpbrk(then, "\r\n"))
        return then;
    return "/";
}

static void send_outcome(struct wp_request *request)
{
    const struct wp_route *route = request->route;
    unsigned code = !request->text                    ? MHD_HTTP_NO_CONTENT
                    : route->flags & WP_ROUTE_CREATED ? MHD_HTTP_CREATED
                                                      : MHD_HTTP_OK;
    bool redirect = request->form && !route->view && !route->page;
    char *text = request->text;
    request->text = NULL;
    struct MHD_Response *response =
        text && !redirect ? from_text(text, request->text_size)
                          : MHD_create_response_from_buffer(0, (void *)"", MHD_RESPMEM_PERSISTENT);
    if (redirect)
        free(text);
    if (!response) {
        give_up(request);
        return;
    }
    if (redirect) {
        wp_reply_header(response, MHD_HTTP_HEADER_LOCATION, form_target(request));
        code = MHD_HTTP_SEE_OTHER;
    } else if (text) {
        wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_TYPE,
                        route->page ? "text/html; charset=utf-8" : "application/json");
    }
    set_cookies(request, response);
    wp_reply_response(request, code, response);
}

void wp_reply_outcome(struct wp_request *request)
{
    if (request->status)
        wp_reply_problem(request, request->status, &request->error);
    else
        send_outcome(request);
}
