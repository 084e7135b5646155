/* people/ask.h - who asks for what: the one argument of every act and view.
 *
 * The web adapter and the command line fill it; acts and views read it and answer JSON. Access has
 * been decided by the route's role and scope (people/access.h) before an act or view sees it.
 *
 * Thread: built on the loop, read by one lane thread at a time.
 */
#ifndef PEOPLE_ASK_H
#define PEOPLE_ASK_H

#include <stdbool.h>
#include <stdint.h>

#include <cjson/cJSON.h>

#include "db/db.h"
#include "ledger/ledger.h"

/* Roles a principal can have, as bits. */
enum wp_role {
    WP_ROLE_NONE = 0,
    WP_ROLE_STUDENT = 1 << 0,
    WP_ROLE_DEMONSTRATOR = 1 << 1,
    WP_ROLE_INSTRUCTOR = 1 << 2,
    WP_ROLE_MARKER = 1 << 3,
    WP_ROLE_TECHNICIAN = 1 << 4,
    WP_ROLE_ADMINISTRATOR = 1 << 5,
    WP_ROLE_AGENT = 1 << 6,  /* an instrument's agent, by its token */
    WP_ROLE_BENCH = 1 << 7,  /* an enrolled bench device, by its token */
    WP_ROLE_COMMAND = 1 << 8 /* the `wavepost` command on the gateway's own machine */
};

struct wp_who {
    enum wp_actor actor;
    int64_t id;                /* person, agent or bench; 0 for nobody and the command */
    unsigned roles;            /* bits of enum wp_role */
    int64_t instrument;        /* agents and benches: theirs; else 0 */
    char command_name[64];     /* WP_ACTOR_COMMAND: the operating system's user name */
    unsigned char session[32]; /* hash of the token that proved it; zero if none */
};

#define WP_ASK_PARAMS 4

struct wp_ask {
    const struct wp_who *who;
    const char *param[WP_ASK_PARAMS]; /* path parameters in order, decoded; NULL beyond the last */
    const cJSON *query;               /* object of strings, never NULL */
    const cJSON *body;                /* JSON object, NULL if the request has none */
    const char *address;              /* peer address for throttling and the ledger; may be NULL */
};

/* A view reads; an act writes and may be run again. Both put a new JSON value into *out (the caller
 * deletes it) or leave it NULL for "no content". On failure `error` says why, for a person. */
typedef enum wp_status (*wp_view_fn)(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error);
typedef enum wp_status (*wp_act_fn)(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error);

/* A text member of the query or the body; NULL if absent or not text. Borrowed. */
const char *wp_ask_text(const struct wp_ask *ask, const char *name);
/* An id (or any whole number up to 2^53) from query, body (number or text). False if
 * absent/malformed. */
bool wp_ask_int(const struct wp_ask *ask, const char *name, int64_t *value);
/* The same within bounds: true, with *value untouched, if nothing is said of it; false for what is
 * no whole number or lies outside. */
bool wp_ask_int_within(const struct wp_ask *ask, const char *name, int64_t low, int64_t high,
                       int64_t *value);
bool wp_ask_flag(const struct wp_ask *ask, const char *name);
/* A path parameter as a positive whole number. */
bool wp_ask_param_int(const struct wp_ask *ask, unsigned index, int64_t *value);

/* Writes "who did what to which" into the ledger: subject "table:id". `detail` (may be NULL) as in
 * wp_ledger_add. Inside write jobs; database errors. */
enum wp_status wp_ask_record(struct wp_txn *txn, const struct wp_ask *ask, const char *verb,
                             const char *table, int64_t id, const char *detail);

#endif
