/* web/route.h - the one table of what the gateway answers over HTTP.
 *
 * A row names method, path, who may use it and what it is tied to, and exactly one of: a view (a
 * read job), an act (a write job), or a handler of the web room's own. Everything else follows from
 * the row: reading of parameters and body, the access check inside the same job, the reply. The
 * server, the tests and `wavepostd --routes` read this table and no other. A row without a scope,
 * or with a scope that needs roles and none of them, does not start.
 *
 * Thread: the table is constant; a router is made once and only read.
 */
#ifndef WEB_ROUTE_H
#define WEB_ROUTE_H

#include <stdio.h>

#include "base/bytes.h"
#include "people/access.h"

struct wp_request;

/* A handler of the web room. `load` (may be NULL) reads on a lane thread, in the same job as the
 * access check and after it; `custom` then runs on the loop and answers there, now or later.
 * Neither is called when the check or what came before fails: that is answered by itself. A public
 * row without `load` needs no job. */
typedef enum wp_status (*wp_load_fn)(struct wp_sql *sql, int64_t now, struct wp_request *request);
typedef void (*wp_custom_fn)(struct wp_request *request);

/* Turns what a view or an act answered into a page that needs no script. Lane thread. `out` may be
 * NULL. Everything from `out` must be escaped by the function. */
typedef enum wp_status (*wp_page_fn)(const cJSON *out, const struct wp_ask *ask,
                                     struct wp_bytes *html, struct wp_error *error);

enum wp_body_kind {
    WP_BODY_NONE = 0, /* a body is read and thrown away */
    WP_BODY_JSON,     /* a JSON object, or a form (application/x-www-form-urlencoded) */
    WP_BODY_FILE      /* bytes: in memory up to 1 MiB, else in a synced staging file */
};

#define WP_JSON_BODY_MOST (64 * 1024) /* limit where a row names none */

/* Members of an act's answer that become cookies: they are taken out of the JSON. A string sets the
 * cookie, null clears it, absent leaves it alone. */
#define WP_SESSION_MEMBER "session_token"
#define WP_BENCH_MEMBER "bench_token"

enum wp_route_flag {
    WP_ROUTE_COOKIES = 1 << 0, /* the answer may set or clear the cookies above */
    WP_ROUTE_LOOPBACK =
        1 << 1,                /* also open to anybody on the gateway's own machine (not proxied) */
    WP_ROUTE_CREATED = 1 << 2, /* success with content is 201 instead of 200 */
    WP_ROUTE_EXPIRES = 1 << 3, /* WP_CONFLICT means "expired": 410 instead of 409 */
    WP_ROUTE_LOOK = 1 << 4,    /* GET: when staff ask, the ledger says that they looked */
    WP_ROUTE_EXPORT = 1 << 5   /* GET: the same, that they took it away; every time */
};

struct wp_route {
    const char *method; /* "GET" (answers HEAD as well), "POST", "PUT", "PATCH", "DELETE" */
    const char *path;   /* "/api/v1/measurements/:id"; a parameter fills one whole segment */
    unsigned roles;     /* bits of enum wp_role; only a public row may have none */
    enum wp_scope scope;
    wp_view_fn view;
    wp_act_fn act;
    wp_load_fn load; /* with custom only */
    wp_custom_fn custom;
    wp_page_fn page; /* with view or act: answer HTML. NULL: JSON. */
    enum wp_body_kind body;
    unsigned flags;   /* bits of enum wp_route_flag */
    size_t body_most; /* 0: WP_JSON_BODY_MOST */
    const char *summary;
};

/* Every row there is. */
extern const struct wp_route wp_routes[];
extern const size_t wp_route_count;

struct wp_router;

/* Compiles and checks a table, which must outlive the router. WP_INVALID: a row is incomplete or
 * says the same as another; the error names it. */
enum wp_status wp_router_new(const struct wp_route *rows, size_t count, struct wp_router **router,
                             struct wp_error *error);
void wp_router_free(struct wp_router *router);

#define WP_PATH_MOST 2048

/* What a path leads to. The parameters point into `text`. */
struct wp_match {
    const struct wp_route *route;     /* NULL: none */
    const char *param[WP_ASK_PARAMS]; /* decoded */
    char allow[64]; /* the path's methods where the method does not fit, else "" */
    char text[WP_PATH_MOST + 1];
};

/* Finds the row for a method and a path still in percent-encoding. A literal segment goes before a
 * parameter. WP_OK; WP_NOT_FOUND (`allow` is then filled if only the method is wrong); WP_INVALID:
 * malformed encoding, a NUL, or no UTF-8; WP_TOO_LARGE. */
enum wp_status wp_router_match(const struct wp_router *router, const char *method, const char *path,
                               struct wp_match *match);

/* Prints the table as Markdown, sorted by path: this is docs/access.md. */
void wp_routes_print(const struct wp_route *rows, size_t count, FILE *file);

#endif
