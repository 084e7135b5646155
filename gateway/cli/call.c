/* One request to the gateway that runs in a data folder or, where none runs, to its database. */
#include <errno.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>
#include <uv.h>

#include "acts/site.h"
#include "base/http.h"
#include "base/secret.h"
#include "cli.h"
#include "db/db.h"
#include "people/access.h"
#include "web/route.h"

#define ANSWER_MOST ((size_t)64 << 20)

/* ---- the gateway runs ---- */

struct asked {
    enum wp_status status;
    long code;
    char text[WP_ERROR_TEXT];
    cJSON *json;
};

static void take_answer(void *arg, const struct wp_http_answer *answer)
{
    struct asked *asked = arg;
    asked->status = answer->status;
    asked->code = answer->code;
    if (answer->status)
        (void)snprintf(asked->text, sizeof asked->text, "%s", answer->error.text);
    else if (answer->size)
        asked->json = cJSON_ParseWithLength(answer->body, answer->size);
}

static int report(const struct asked *asked)
{
    const char *detail =
        cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(asked->json, "detail"));
    if (asked->status)
        return wp_cli_fail("the gateway did not answer: %s", asked->text);
    if (asked->code >= 400)
        return wp_cli_fail("%s", detail ? detail : "the gateway refused");
    return WP_EXIT_DONE;
}

static const char text_header[] = "Content-Type: application/json";

/* The person that --as or WAVEPOST_AS names; "" if nobody. */
static const char *named_caller(void)
{
    const char *as = getenv("WAVEPOST_AS");
    return as && strlen(as) <= 64 ? as : "";
}

static int call_gateway(const char *socket_path, const char *method, const char *path,
                        const cJSON *body, cJSON **answer)
{
    char as[128] = "";
    const char *headers[3] = {as, text_header, NULL};
    uv_loop_t loop;
    struct asked asked = {.status = WP_IO};
    char url[1024];
    (void)snprintf(url, sizeof url, "http://localhost%s", path);
    struct wp_http_options options = {.unix_path = socket_path};
    char *text = body ? cJSON_PrintUnformatted(body) : NULL;
    const char **first = headers + (named_caller()[0] == '\0');
    (void)snprintf(as, sizeof as, "Wavepost-As: %.64s", named_caller());
    if (!text)
        headers[1] = NULL;
    uv_loop_init(&loop);
    struct wp_http *http = wp_http_new(&loop, &options);
    struct wp_http_request request = {.method = method,
                                      .url = url,
                                      .headers = first[0] ? first : NULL,
                                      .body = text,
                                      .size = text ? strlen(text) : 0,
                                      .answer_most = ANSWER_MOST};
    enum wp_status status = http ? wp_http_send(http, &request, take_answer, &asked) : WP_NO_MEMORY;
    while (!status && wp_http_load(http))
        uv_run(&loop, UV_RUN_ONCE);
    wp_http_free(http);
    uv_run(&loop, UV_RUN_DEFAULT);
    uv_loop_close(&loop);
    free(text);
    int code = status ? wp_cli_fail("the request could not be made") : report(&asked);
    if (answer && !code)
        *answer = asked.json;
    else
        cJSON_Delete(asked.json);
    return code;
}

/* ---- none runs ---- */

struct job {
    const struct wp_route *route;
    struct wp_ask ask;
    cJSON *out;
    struct wp_error error;
};

static enum wp_status run_act(struct wp_txn *txn, void *arg)
{
    struct job *job = arg;
    cJSON_Delete(job->out);
    job->out = NULL;
    return job->route->act(txn, &job->ask, &job->out, &job->error);
}

static enum wp_status run_view(struct wp_sql *sql, void *arg)
{
    struct job *job = arg;
    return job->route->view(sql, &job->ask, &job->out, &job->error);
}

/* %41 becomes A; what is no such pair stays as it is. */
static void decode(char *text)
{
    char *to = text;
    for (const char *from = text; *from; from++) {
        char pair[3] = {from[0] == '%' ? from[1] : '\0', from[1] ? from[2] : '\0', '\0'};
        char *end = pair;
        long value = pair[0] ? strtol(pair, &end, 16) : 0;
        bool coded = end == pair + 2 && value > 0;
        *to++ = coded ? (char)value : *from;
        from += coded ? 2 : 0;
    }
    *to = '\0';
}

static cJSON *parse_query(const char *path)
{
    cJSON *query = cJSON_CreateObject();
    const char *at = strchr(path, '?');
    while (at && *++at) {
        const char *equals = strchr(at, '='), *end = at + strcspn(at, "&");
        if (equals && equals < end) {
            char name[64], value[768];
            (void)snprintf(name, sizeof name, "%.*s", (int)(equals - at), at);
            (void)snprintf(value, sizeof value, "%.*s", (int)(end - equals - 1), equals + 1);
            decode(value);
            cJSON_AddStringToObject(query, name, value);
        }
        at = *end ? end : NULL;
    }
    return query;
}

/* A read job: the person by whose name the command is at work. */
static enum wp_status find_caller(struct wp_sql *sql, void *arg)
{
    return wp_command_named(sql, named_caller(), arg);
}

static void name_caller(struct wp_who *who)
{
    const struct passwd *user = getpwuid(getuid());
    who->actor = WP_ACTOR_COMMAND;
    who->roles = WP_ROLE_COMMAND;
    (void)snprintf(who->command_name, sizeof who->command_name, "%s",
                   user ? user->pw_name : "unknown");
}

static int run_route(struct wp_db *db, const struct wp_match *match, const char *path,
                     const cJSON *body, cJSON **answer)
{
    struct wp_who who = {0};
    name_caller(&who);
    if (wp_db_read_now(db, find_caller, &who))
        return wp_cli_fail("there is no person \"%s\"", named_caller());
    cJSON *query = parse_query(path);
    struct job job = {.route = match->route,
                      .ask = {.who = &who, .query = query, .body = body, .address = "command"}};
    memcpy(job.ask.param, match->param, sizeof match->param);
    enum wp_status status = WP_DENIED;
    if (match->route->roles & WP_ROLE_COMMAND)
        status = match->route->act ? wp_db_write_now(db, run_act, &job)
                                   : wp_db_read_now(db, run_view, &job);
    cJSON_Delete(query);
    if (!status && answer)
        *answer = job.out;
    else
        cJSON_Delete(job.out);
    return status ? wp_cli_fail("%s", job.error.text[0] ? job.error.text : wp_status_name(status))
                  : WP_EXIT_DONE;
}

static int call_database(const char *folder, const char *method, const char *path,
                         const cJSON *body, cJSON **answer)
{
    struct wp_error error = {0};
    struct wp_router *router = NULL;
    struct wp_match match;
    struct wp_db *db = NULL;
    struct wp_db_options options = {.folder = folder};
    char plain[512];
    (void)snprintf(plain, sizeof plain, "%.*s", (int)strcspn(path, "?"), path);
    if (access(folder, F_OK) != 0)
        return wp_cli_fail("there is no data folder %s", folder);
    if (wp_secret_init() || wp_router_new(wp_routes, wp_route_count, &router, &error) ||
        wp_router_match(router, method, plain, &match) || !match.route) {
        wp_router_free(router);
        return wp_cli_fail("the request is not one of the gateway's");
    }
    int code = WP_EXIT_FAILED;
    if (!match.route->act && !match.route->view)
        code = wp_cli_fail("this needs the gateway to run");
    else if (wp_db_open(&options, &db, &error) || wp_store_look_at(folder, &wp_site.store, &error))
        code = wp_cli_fail("%s", error.text);
    else
        code = run_route(db, &match, path, body, answer);
    if (wp_site.store)
        wp_site.store->ops->free(wp_site.store);
    wp_site.store = NULL;
    wp_db_close(db);
    wp_router_free(router);
    return code;
}

static bool gateway_runs(const char *socket_path)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (strlen(socket_path) >= sizeof address.sun_path)
        return false;
    memcpy(address.sun_path, socket_path, strlen(socket_path) + 1);
    int end = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    bool runs = end >= 0 && connect(end, (struct sockaddr *)&address, sizeof address) == 0;
    if (end >= 0)
        (void)close(end);
    return runs;
}

int wp_cli_call(const char *folder, const char *method, const char *path, const cJSON *body,
                cJSON **answer)
{
    char socket_path[4096];
    (void)snprintf(socket_path, sizeof socket_path, "%s/control.sock", folder);
    return gateway_runs(socket_path) ? call_gateway(socket_path, method, path, body, answer)
                                     : call_database(folder, method, path, body, answer);
}
