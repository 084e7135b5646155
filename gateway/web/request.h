/* request.h - one HTTP request on its way through the web room, and the server it belongs to.
 *
 * A request is made when its header has arrived, takes its body, is started (by its route), is
 * suspended while lanes work on it, and answers. While `busy` it is suspended in libmicrohttpd and
 * its memory cannot go away; a lane's job may therefore point to it.
 *
 * Thread: the loop's, but for `run` of a lane's job, which owns the request until its done.
 */
#ifndef REQUEST_H
#define REQUEST_H

#include <microhttpd.h>
#include <sys/types.h>
#include <uv.h>

#include "base/clock.h"
#include "base/secret.h"
#include "body.h"
#include "door.h"
#include "web/route.h"
#include "web/web.h"

struct wp_web;
struct wp_listener;
struct wp_events;
struct wp_readers;

/* One connection, from accept to close. */
struct wp_peer {
    struct wp_web *web;
    struct wp_listener *listener;
    struct wp_peer *next, *previous;
    int fd;
    int64_t waiting_us; /* steady clock: since when a request's header is awaited; 0: one is here */
    struct wp_request *request;
    char address[64]; /* numeric peer address; "local" on the control socket */
    bool loopback;
    uid_t uid;  /* control socket: who calls; else (uid_t)-1 */
    bool asked; /* a request's header came */

    /* door.c */
    bool known;    /* a request has proved who asks */
    bool stranger; /* it has not, and the door may ask it to go */
    unsigned slot; /* of its address */
    int64_t came_us;
    struct wp_peer *older, *younger; /* strangers */
};

struct wp_request {
    struct wp_web *web;
    struct wp_peer *peer;
    struct wp_request *next_parked;
    void (*again)(struct wp_request *request); /* what a parked request waits to do */
    struct MHD_Connection *connection;
    bool head;         /* HEAD */
    bool busy;         /* suspended: handler calls are to be left alone */
    bool started;      /* the route has been asked */
    bool close;        /* after the answer */
    int64_t begun_us;  /* steady clock */
    int64_t rested_us; /* when it was last suspended */

    struct wp_match match;
    const struct wp_route *route; /* NULL: answered with a problem */
    struct wp_ask ask;
    struct wp_who who;
    struct wp_proof proof;
    char command_as[72]; /* control socket: the sign-in name of who is at work; "": not said */
    char bearer[WP_TOKEN_ROOM], session[WP_TOKEN_ROOM], bench[WP_TOKEN_ROOM];
    char address[64];
    char path[256]; /* as it was asked for, for problems and the log */
    cJSON *query, *json;
    bool form; /* the body is an HTML form: answer pages and redirects */
    struct wp_body body;

    wp_act_fn act;

    /* made by the job */
    cJSON *out;
    char *text; /* JSON or HTML made of `out` */
    size_t text_size;
    enum wp_status status;
    struct wp_error error;
    bool refused; /* the access check said no, not the act */

    struct MHD_Response *response;
    unsigned code;

    void *state; /* the handler's own */
    void (*state_free)(void *state);
};

struct wp_web_counts {
    uint64_t answers[6]; /* by hundred of the status code; 0: cut off */
    uint64_t body_bytes;
    uint64_t parked;
    uint64_t cut;  /* connections closed by the watchdog */
    uint64_t shed; /* strangers that had to go for others */
};

#define WP_TOUCH_SLOTS 1024
#define WP_SESSION_COOKIE "wavepost_session"
#define WP_BENCH_COOKIE "wavepost_bench"

struct wp_web {
    struct wp_web_options options;
    char folder[512], host[256], public_url[256];
    bool secure; /* people reach us by TLS: Secure cookies */
    bool strict; /* by a certificate browsers can trust: HSTS */
    bool stopping;
    struct wp_router *router;
    struct wp_listener *listeners[2]; /* TCP and control */
    unsigned port;
    struct wp_peer *peers;
    unsigned peer_count;
    struct wp_door door;
    struct wp_request *parked_first, *parked_last; /* waiting for room in a lane */
    size_t memory_used;
    size_t stranger_memory; /* of it, what strangers hold */
    uv_timer_t tick;
    uv_timer_t retry;
    unsigned open_handles;
    struct wp_lane *disk; /* staging files */
    struct wp_readers *readers;
    struct wp_events *events;
    struct wp_web_counts counts;
    struct wp_touched {
        uint64_t session; /* start of its hash */
        int64_t at_us;    /* when its use was last noted, steady clock */
    } touched[WP_TOUCH_SLOTS];
    struct wp_touched looked[WP_TOUCH_SLOTS]; /* who looked at what: in `session` a hash of both */
};

/* ---- noted.c ---- */

/* Whether what is asked for is to stand in the ledger first; the write job that does it; and that
 * it does. Between the first and the last the request is as a view or load has left it. Loop
 * thread, but for the job. */
bool wp_noted_wanted(const struct wp_request *request);
enum wp_status wp_noted_write(struct wp_txn *txn, void *job);
void wp_noted_done(struct wp_request *request);

/* ---- request.c ---- */

/* Makes the request of a header that has arrived. NULL: out of memory. */
struct wp_request *wp_request_new(struct wp_peer *peer, struct MHD_Connection *connection,
                                  const char *method, const char *path);
void wp_request_free(struct wp_request *request);

/* A field of the request's header, NULL if absent. */
const char *wp_request_field(const struct wp_request *request, const char *name);

/* Parses query and body, then hands the request to its route. The body is complete. */
void wp_request_start(struct wp_request *request);

/* Lets the connection rest until wp_request_wake, which does nothing to one that is not resting.
 * Only from inside a handler call; a route's handler need not call it. */
void wp_request_suspend(struct wp_request *request);
void wp_request_wake(struct wp_request *request);

/* ---- job.c ---- */

/* Runs the row's view, act, or check and load in a job, then answers or calls the handler. */
void wp_job_start(struct wp_request *request);

/* Asks in a job who sends the request and whether they may, before a body of theirs is kept (so a
 * rule for large bodies cannot look into them); then wakes it, or answers. */
void wp_job_admit(struct wp_request *request);

/* Runs an act as a write job, checked by the request's row, then answers. For handlers that had to
 * do something first. */
void wp_job_act(struct wp_request *request, wp_act_fn act);

/* For jobs of handlers: drops what an earlier run left; makes the text of `out`. */
void wp_job_reset(struct wp_request *request);
enum wp_status wp_job_print(struct wp_request *request);

/* Puts a request that found its lane full onto the waiting list; `again` is called later. */
void wp_job_park(struct wp_request *request, void (*again)(struct wp_request *request));
void wp_job_unpark(struct wp_web *web);

/* ---- reply.c ---- */

/* Each makes the answer and wakes the request. Exactly one of them is called for a request. */
void wp_reply_problem(struct wp_request *request, enum wp_status status,
                      const struct wp_error *error);
void wp_reply_problem_code(struct wp_request *request, unsigned code, const char *detail);
/* Takes over `text` (malloc'ed). `type` NULL: application/json. */
void wp_reply_text(struct wp_request *request, unsigned code, const char *type, char *text,
                   size_t size);
/* Bytes that live as long as the program: pages. Answers 304 when If-None-Match holds `etag`. */
void wp_reply_static(struct wp_request *request, const char *type, const void *data, size_t size,
                     const char *etag);
/* A file for people: takes over `data`; `name` may be anything. */
void wp_reply_document(struct wp_request *request, const char *type, bool attachment,
                       const char *name, char *data, size_t size);
void wp_reply_redirect(struct wp_request *request, const char *path);
/* Any response: the standard fields are added, and it is owned by the request from now on. */
void wp_reply_response(struct wp_request *request, unsigned code, struct MHD_Response *response);
void wp_reply_header(struct MHD_Response *response, const char *name, const char *value);
/* What the job left in `status`, `out`, `text`, `error`. */
void wp_reply_outcome(struct wp_request *request);

/* ---- handlers of the web room ---- */

void wp_serve_page(struct wp_request *request);
void wp_serve_sign_in_ways(struct wp_request *request);
void wp_serve_provider_begin(struct wp_request *request);
void wp_serve_provider_back(struct wp_request *request);
void wp_serve_asset(struct wp_request *request);
enum wp_status wp_load_health(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_health(struct wp_request *request);
enum wp_status wp_load_metrics(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_metrics(struct wp_request *request);
enum wp_status wp_load_events(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_events(struct wp_request *request);

enum wp_status wp_load_capture(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_capture(struct wp_request *request);
enum wp_status wp_load_brought(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_brought(struct wp_request *request);
void wp_serve_offer(struct wp_request *request);

enum wp_status wp_load_document(struct wp_sql *sql, int64_t now, struct wp_request *request);
enum wp_status wp_load_object(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_document(struct wp_request *request);
enum wp_status wp_load_section_file(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_section_zip(struct wp_request *request);
void wp_serve_booklet(struct wp_request *request);

enum wp_status wp_load_own_card(struct wp_sql *sql, int64_t now, struct wp_request *request);
enum wp_status wp_load_section_cards(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_cards(struct wp_request *request);
enum wp_status wp_load_picture(struct wp_sql *sql, int64_t now, struct wp_request *request);
void wp_serve_picture(struct wp_request *request);

void wp_serve_sign_in(struct wp_request *request);
void wp_serve_sign_in_link(struct wp_request *request);
void wp_serve_person_put(struct wp_request *request);

#endif
