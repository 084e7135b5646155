#include "request.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/clock.h"
#include "base/json.h"
#include "fields.h"
#include "listener.h"

#define QUERY_FIELDS 64

const char *wp_request_field(const struct wp_request *request, const char *name)
{
    return MHD_lookup_connection_value(request->connection, MHD_HEADER_KIND, name);
}

/* ---- making one ---- */

static void read_proof(struct wp_request *request)
{
    const char *authorization = wp_request_field(request, MHD_HTTP_HEADER_AUTHORIZATION);
    const char *cookies = wp_request_field(request, MHD_HTTP_HEADER_COOKIE);
    const char *as = wp_request_field(request, "Wavepost-As");
    snprintf(request->command_as, sizeof request->command_as, "%.71s", as ? as : "");
    if (authorization && !strncasecmp(authorization, "Bearer ", 7) &&
        strlen(authorization + 7) < sizeof request->bearer) {
        snprintf(request->bearer, sizeof request->bearer, "%s", authorization + 7);
        request->proof.bearer = request->bearer;
    }
    if (wp_cookie_find(cookies, WP_SESSION_COOKIE, request->session, sizeof request->session) &&
        request->session[0])
        request->proof.session = request->session;
    if (wp_cookie_find(cookies, WP_BENCH_COOKIE, request->bench, sizeof request->bench) &&
        request->bench[0])
        request->proof.bench = request->bench;
}

/* Behind a proxy on this machine the peer is what the proxy added last. */
static void read_address(struct wp_request *request)
{
    snprintf(request->address, sizeof request->address, "%s", request->peer->address);
    const char *forwarded = wp_request_field(request, "X-Forwarded-For");
    if (!forwarded || !request->peer->loopback)
        return;
    if (!request->web->options.behind_proxy) {
        snprintf(request->address, sizeof request->address, "%s", "proxied");
        return;
    }
    const char *last = strrchr(forwarded, ',');
    last = last ? last + 1 : forwarded;
    last += strspn(last, " \t");
    wp_text_clean(last, strcspn(last, " \t,"), request->address, sizeof request->address);
}

static void read_length(struct wp_request *request)
{
    const char *length = wp_request_field(request, MHD_HTTP_HEADER_CONTENT_LENGTH);
    const char *coding = wp_request_field(request, MHD_HTTP_HEADER_TRANSFER_ENCODING);
    request->body.declared = coding ? UINT64_MAX : length ? strtoull(length, NULL, 10) : 0;
}

/* A browser page elsewhere may not make a person's browser change anything here. */
static bool forged(const struct wp_request *request, const char *method)
{
    if (!strcmp(method, "GET") || !strcmp(method, "HEAD") || request->proof.bearer ||
        request->peer->uid != (uid_t)-1)
        return false;
    struct wp_origin_fields fields = {.fetch_site = wp_request_field(request, "Sec-Fetch-Site"),
                                      .origin = wp_request_field(request, MHD_HTTP_HEADER_ORIGIN),
                                      .referer = wp_request_field(request, MHD_HTTP_HEADER_REFERER),
                                      .host = wp_request_field(request, MHD_HTTP_HEADER_HOST)};
    return !wp_same_origin(&fields, request->proof.session || request->proof.bench);
}

static void find_route(struct wp_request *request, const char *method, const char *path)
{
    enum wp_status status = wp_router_match(request->web->router, method, path, &request->match);
    if (status == WP_OK && forged(request, method))
        wp_reply_problem_code(request, 403, "The request came from a page of another site.");
    else if (status == WP_OK)
        request->route = request->match.route;
    else if (status == WP_NOT_FOUND && request->match.allow[0])
        wp_reply_problem_code(request, 405, "This path does not know the method.");
    else if (status == WP_NOT_FOUND)
        wp_reply_problem(request, WP_NOT_FOUND, NULL);
    else if (status == WP_TOO_LARGE)
        wp_reply_problem_code(request, 414, "The path is too long.");
    else
        wp_reply_problem_code(request, 400, "The path is malformed.");
}

struct wp_request *wp_request_new(struct wp_peer *peer, struct MHD_Connection *connection,
                                  const char *method, const char *path)
{
    struct wp_request *request = calloc(1, sizeof *request);
    if (!request)
        return NULL;
    request->web = peer->web;
    request->peer = peer;
    request->connection = connection;
    request->begun_us = wp_clock_steady();
    request->head = !strcmp(method, "HEAD");
    request->body.fd = -1;
    wp_text_clean(path, strlen(path), request->path, sizeof request->path);
    read_proof(request);
    read_address(request);
    read_length(request);
    find_route(request, method, path);
    wp_body_init(request);
    request->ask.who = &request->who;
    request->ask.address = request->address;
    memcpy(request->ask.param, request->match.param, sizeof request->ask.param);
    return request;
}

void wp_request_free(struct wp_request *request)
{
    if (!request)
        return;
    wp_body_release(request);
    if (request->state_free)
        request->state_free(request->state);
    if (request->response)
        MHD_destroy_response(request->response);
    cJSON_Delete(request->query);
    cJSON_Delete(request->json);
    cJSON_Delete(request->out);
    free(request->text);
    free(request);
}

void wp_request_suspend(struct wp_request *request)
{
    request->busy = true;
    request->rested_us = wp_clock_steady();
    MHD_suspend_connection(request->connection);
}

void wp_request_wake(struct wp_request *request)
{
    if (!request->busy)
        return;
    request->busy = false;
    if (!request->started)
        request->body.waited_us += wp_clock_steady() - request->rested_us;
    MHD_resume_connection(request->connection);
    wp_listener_soon(request->peer->listener);
}

/* ---- what it says ---- */

struct query_fields {
    cJSON *object;
    size_t count;
    bool wrong;
    bool no_memory;
};

static enum MHD_Result add_query(void *cls, enum MHD_ValueKind kind, const char *key,
                                 const char *value)
{
    struct query_fields *query = cls;
    (void)kind;
    size_t key_length = strlen(key);
    size_t value_length = value ? strlen(value) : 0;
    char *room = malloc(key_length + value_length + 2);
    if (!room || ++query->count > QUERY_FIELDS) {
        query->no_memory = !room;
        query->wrong = true;
        free(room);
        return MHD_NO;
    }
    size_t size = 0;
    char *name = room + value_length + 1;
    query->wrong = !wp_percent_decode(value ? value : "", value_length, true, room, &size) ||
                   !wp_percent_decode(key, key_length, true, name, &size);
    if (!query->wrong) {
        cJSON_DeleteItemFromObjectCaseSensitive(query->object, name);
        query->no_memory = !cJSON_AddStringToObject(query->object, name, room);
    }
    free(room);
    return query->wrong || query->no_memory ? MHD_NO : MHD_YES;
}

/* False: answered. A lack of memory is not the sender's fault, and to an agent 400 is for good. */
static bool parse_query(struct wp_request *request)
{
    struct query_fields query = {.object = cJSON_CreateObject()};
    request->query = query.object;
    request->ask.query = query.object;
    query.no_memory = !query.object;
    if (query.object)
        MHD_get_connection_values(request->connection, MHD_GET_ARGUMENT_KIND, add_query, &query);
    if (query.no_memory)
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
    else if (query.wrong)
        wp_reply_problem_code(request, 400, "The query is malformed.");
    return !query.no_memory && !query.wrong;
}

static void json_place(const char *text, size_t size, const char *at, struct wp_error *error)
{
    long line = 1;
    long column = 1;
    for (const char *p = text; p < at && p < text + size; p++) {
        column = *p == '\n' ? 1 : column + 1;
        line += *p == '\n';
    }
    wp_fail_at(error, WP_INVALID, line, column, "The body is not a JSON object.");
}

static bool is_type(const char *field, const char *type)
{
    size_t length = strlen(type);
    return field && !strncasecmp(field, type, length) &&
           (!field[length] || strchr("; \t", field[length]));
}

/* False: answered. */
static bool parse_json(struct wp_request *request, const char *text, size_t size)
{
    const char *end = NULL;
    request->json =
        wp_utf8_valid(text, size) ? cJSON_ParseWithLengthOpts(text, size + 1, &end, true) : NULL;
    if (cJSON_IsObject(request->json)) {
        request->ask.body = request->json;
        return true;
    }
    if (!request->json && wp_json_sound(text, size)) {
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
        return false;
    }
    struct wp_error error;
    json_place(text, size, end ? end : text, &error);
    char detail[WP_ERROR_TEXT + 64];
    snprintf(detail, sizeof detail, "%s Line %ld, column %ld.", error.text, error.line,
             error.column);
    wp_reply_problem_code(request, 400, detail);
    return false;
}

static bool parse_form(struct wp_request *request, const char *text, size_t size)
{
    request->form = true;
    request->json = cJSON_CreateObject();
    request->ask.body = request->json;
    if (request->json && wp_form_parse(text, size, request->json) == WP_OK)
        return true;
    wp_reply_problem_code(request, 400, "The form is malformed.");
    return false;
}

static bool parse_body(struct wp_request *request)
{
    if (request->route->body != WP_BODY_JSON || request->body.total == 0)
        return true;
    const char *type = wp_request_field(request, MHD_HTTP_HEADER_CONTENT_TYPE);
    if (is_type(type, "application/json"))
        return parse_json(request, request->body.memory.data, request->body.memory.size);
    if (is_type(type, "application/x-www-form-urlencoded"))
        return parse_form(request, request->body.memory.data, request->body.memory.size);
    wp_reply_problem_code(request, 415, "The body must be application/json or a form.");
    return false;
}

void wp_request_start(struct wp_request *request)
{
    request->started = true;
    if (!parse_query(request) || !parse_body(request))
        return;
    wp_job_start(request);
    if (!request->response && !request->close)
        wp_request_suspend(request);
}
