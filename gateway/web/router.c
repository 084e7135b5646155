#include "web/route.h"

#include <stdlib.h>
#include <string.h>

#include "fields.h"

#define SEGMENTS_MOST 8

struct pattern {
    const struct wp_route *route;
    size_t count;
    const char *segment[SEGMENTS_MOST]; /* NULL: a parameter */
};

struct wp_router {
    size_t count;
    char *text; /* the segments' copies */
    struct pattern patterns[];
};

/* Cuts `text` at slashes, in place. The root has no segments. False: too many. */
static bool cut(char *text, const char *segment[SEGMENTS_MOST], size_t *count)
{
    *count = 0;
    char *at = text + 1;
    while (*at) {
        if (*count == SEGMENTS_MOST)
            return false;
        segment[(*count)++] = at;
        at += strcspn(at, "/");
        if (*at)
            *at++ = '\0';
    }
    return true;
}

static const char *fault(const struct wp_route *row)
{
    if (!row->method || !row->path || row->path[0] != '/' || !row->summary)
        return "has no method, path or summary";
    if (row->scope == WP_SCOPE_UNSET)
        return "has no scope";
    if (row->scope != WP_SCOPE_PUBLIC && row->roles == WP_ROLE_NONE)
        return "names no role";
    if (!!row->view + !!row->act + !!row->custom != 1)
        return "needs exactly one of view, act, custom";
    if (row->page && row->custom)
        return "has a page and a handler of its own";
    if (row->load && !row->custom)
        return "loads for a handler it does not have";
    if (row->view && strcmp(row->method, "GET") != 0)
        return "is a view and not GET";
    if (row->act && !strcmp(row->method, "GET"))
        return "is an act and GET";
    return NULL;
}

static bool same_segments(const struct pattern *a, const struct pattern *b)
{
    if (a->count != b->count || strcmp(a->route->method, b->route->method) != 0)
        return false;
    for (size_t i = 0; i < a->count; i++) {
        if (!a->segment[i] != !b->segment[i])
            return false;
        if (a->segment[i] && strcmp(a->segment[i], b->segment[i]) != 0)
            return false;
    }
    return true;
}

static enum wp_status compile(struct wp_router *router, const struct wp_route *row, char *copy,
                              struct wp_error *error)
{
    const char *wrong = fault(row);
    struct pattern *pattern = &router->patterns[router->count];
    pattern->route = row;
    if (!wrong && !cut(copy, pattern->segment, &pattern->count))
        wrong = "has too many segments";
    size_t params = 0;
    for (size_t i = 0; !wrong && i < pattern->count; i++)
        if (pattern->segment[i][0] == ':') {
            pattern->segment[i] = NULL;
            params++;
        }
    if (!wrong && params > WP_ASK_PARAMS)
        wrong = "has too many parameters";
    if (!wrong && row->scope > WP_SCOPE_ANY && params == 0)
        wrong = "is tied to a parameter it does not have";
    for (size_t i = 0; !wrong && i < router->count; i++)
        if (same_segments(&router->patterns[i], pattern))
            wrong = "says the same as another row";
    if (wrong)
        return wp_fail(error, WP_INVALID, "Route %s %s %s.", row->method ? row->method : "?",
                       row->path ? row->path : "?", wrong);
    router->count++;
    return WP_OK;
}

enum wp_status wp_router_new(const struct wp_route *rows, size_t count, struct wp_router **router,
                             struct wp_error *error)
{
    size_t size = 1;
    for (size_t i = 0; i < count; i++)
        size += rows[i].path ? strlen(rows[i].path) + 1 : 1;
    struct wp_router *made = calloc(1, sizeof *made + count * sizeof made->patterns[0]);
    char *text = calloc(1, size);
    if (!made || !text) {
        free(made);
        free(text);
        return wp_fail(error, WP_NO_MEMORY, "There is no memory for the routes.");
    }
    made->text = text;
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < count && !status; i++) {
        size_t length = rows[i].path ? strlen(rows[i].path) : 0;
        if (length)
            memcpy(text, rows[i].path, length);
        status = compile(made, &rows[i], text, error);
        text += length + 1;
    }
    if (status) {
        wp_router_free(made);
        made = NULL;
    }
    *router = made;
    return status;
}

void wp_router_free(struct wp_router *router)
{
    if (!router)
        return;
    free(router->text);
    free(router);
}

static bool fits(const struct pattern *pattern, const char *const *segment, size_t count)
{
    if (pattern->count != count)
        return false;
    for (size_t i = 0; i < count; i++)
        if (pattern->segment[i] ? strcmp(pattern->segment[i], segment[i]) != 0 : !*segment[i])
            return false;
    return true;
}

/* The first place where one has a literal and the other a parameter decides. */
static bool closer(const struct pattern *a, const struct pattern *b)
{
    for (size_t i = 0; b && i < a->count; i++)
        if (!a->segment[i] != !b->segment[i])
            return a->segment[i] != NULL;
    return b == NULL;
}

static void note_method(struct wp_match *match, const char *method)
{
    size_t used = strlen(match->allow);
    if (!strstr(match->allow, method))
        snprintf(match->allow + used, sizeof match->allow - used, "%s%s%s", used ? ", " : "",
                 method, strcmp(method, "GET") != 0 ? "" : ", HEAD");
}

static enum wp_status decode_segments(const char *path, struct wp_match *match,
                                      const char *segment[SEGMENTS_MOST], size_t *count)
{
    size_t length = strlen(path);
    if (length > WP_PATH_MOST)
        return WP_TOO_LARGE;
    if (path[0] != '/')
        return WP_INVALID;
    memcpy(match->text, path, length + 1);
    if (!cut(match->text, segment, count))
        return WP_NOT_FOUND;
    for (size_t i = 0; i < *count; i++) {
        char *part = match->text + (segment[i] - match->text);
        size_t size = 0;
        if (!wp_percent_decode(part, strlen(part), false, part, &size))
            return WP_INVALID;
    }
    return WP_OK;
}

enum wp_status wp_router_match(const struct wp_router *router, const char *method, const char *path,
                               struct wp_match *match)
{
    const char *segment[SEGMENTS_MOST];
    size_t count = 0;
    memset(match->param, 0, sizeof match->param);
    match->route = NULL;
    match->allow[0] = '\0';
    enum wp_status status = decode_segments(path, match, segment, &count);
    if (status)
        return status;
    if (!strcmp(method, "HEAD"))
        method = "GET";
    const struct pattern *best = NULL;
    for (size_t i = 0; i < router->count; i++) {
        const struct pattern *pattern = &router->patterns[i];
        if (!fits(pattern, segment, count))
            continue;
        note_method(match, pattern->route->method);
        if (!strcmp(pattern->route->method, method) && closer(pattern, best))
            best = pattern;
    }
    if (!best)
        return WP_NOT_FOUND;
    match->allow[0] = '\0';
    match->route = best->route;
    size_t params = 0;
    for (size_t i = 0; i < count; i++)
        if (!best->segment[i])
            match->param[params++] = segment[i];
    return WP_OK;
}

static int by_path(const void *a, const void *b)
{
    const struct wp_route *left = *(const struct wp_route *const *)a;
    const struct wp_route *right = *(const struct wp_route *const *)b;
    int order = strcmp(left->path, right->path);
    return order ? order : strcmp(left->method, right->method);
}

static const char preface[] =
    "# Who may ask for what\n\n"
    "Everything the gateway answers over HTTP stands in one table, `gateway/web/routes.c`; the\n"
    "server, the tests and this page (`wavepostd --routes`) are made of it. *Tied to* says what "
    "the\n"
    "roles are checked against: *any* needs one of the roles anywhere; *measurement*, *section*,\n"
    "*instrument* and *person* need it towards the one that the path names: a student's own\n"
    "measurements; a section's staff that section, what was measured in it, and the instruments\n"
    "where it meets; a bench its own instrument, the open turn there, and for a while what nobody\n"
    "has. Technicians, administrators and the command line are not tied. Lists show what their\n"
    "reader may see, and what a row's act or view may do beyond this is checked there. The check\n"
    "runs in the same database job as what it guards.\n\n";

void wp_routes_print(const struct wp_route *rows, size_t count, FILE *file)
{
    const struct wp_route **sorted = calloc(count ? count : 1, sizeof(const struct wp_route *));
    if (!sorted)
        return;
    for (size_t i = 0; i < count; i++)
        sorted[i] = &rows[i];
    qsort(sorted, count, sizeof(const struct wp_route *), by_path);
    fprintf(file, "%s| method | path | roles | tied to | what it does |\n|---|---|---|---|---|\n",
            preface);
    for (size_t i = 0; i < count; i++) {
        char roles[256];
        wp_roles_text(sorted[i]->roles, roles, sizeof roles);
        bool everybody = sorted[i]->scope == WP_SCOPE_PUBLIC;
        fprintf(file, "| %s | `%s` | %s%s | %s | %s |\n", sorted[i]->method, sorted[i]->path,
                everybody ? "everybody" : roles,
                sorted[i]->flags & WP_ROUTE_LOOPBACK ? ", anybody on the machine itself" : "",
                everybody ? "" : wp_scope_text(sorted[i]->scope), sorted[i]->summary);
    }
    free(sorted);
}
