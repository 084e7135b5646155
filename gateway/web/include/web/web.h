/* web/web.h - the gateway's HTTP side: listeners, requests, limits.
 *
 * libmicrohttpd in external epoll mode on the libuv loop. One server has a TCP listener (TLS or
 * plain) and a control socket in the data folder; both serve the table in web/route.h. On the
 * control socket the caller is the operating-system user, who must be root or the gateway's own.
 *
 * Limits: connections, header size (one 8 KiB pool a connection), body by route, memory of all
 * bodies together (beyond it bodies go to staging files or wait), 100 s without a byte, 30 s for
 * TLS and the first request's header and 120 s for a later one's, 1 KiB a second for a body after
 * 30 s. Connections on which nobody has proved who they are give way to others (door.h) and share
 * a quarter of the bodies' memory. A full lane makes its requests wait.
 *
 * Thread: the loop's, for everything here.
 */
#ifndef WEB_WEB_H
#define WEB_WEB_H

#include <stdbool.h>
#include <uv.h>

#include "base/lane.h"
#include "db/db.h"
#include "web/tls.h"

struct wp_web;
struct wp_sheet_fonts;
struct wp_link_wanted;
struct wp_openid;

struct wp_web_options {
    uv_loop_t *loop;
    struct wp_db *db;
    struct wp_lane *compute;   /* intake, sheets */
    struct wp_lane *passwords; /* one thread; Argon2id */
    struct wp_lane *exports;   /* few threads; a streamed download occupies one */
    struct wp_sheet_fonts *fonts;
    /* Mails a sign-in link; called on the loop. NULL: mail is not set up. */
    void (*send_link)(void *arg, const struct wp_link_wanted *wanted);
    void *arg;
    /* The site's provider, made later: NULL, or NULL there: none. */
    struct wp_openid *const *openid;
    const char *openid_button; /* what the button says */
    bool openid_by_email;      /* it names mail addresses, not sign-in names */
    const char *folder;        /* the data folder; control.sock and staging/ lie in it */
    const char *host;          /* address to listen on, "127.0.0.1", "::", "localhost" */
    unsigned port;             /* 0: a free one */
    const struct wp_tls *tls;  /* NULL: plain HTTP */
    const char *public_url;    /* as people reach the gateway; "" : made of host and port */
    bool behind_proxy;         /* believe X-Forwarded-For of a peer on loopback */
    unsigned connections_most; /* 0: 2048 */
    size_t memory_most;        /* all bodies in memory together, 0: 64 MiB */
    uint64_t capture_most;     /* bytes of one capture, 0: 256 MiB */
};

/* Opens the listeners. Everything the options point at must outlive the server; texts are copied.
 * WP_IO: the address cannot be used; WP_INVALID: the route table is not sound. */
enum wp_status wp_web_start(const struct wp_web_options *options, struct wp_web **web,
                            struct wp_error *error);

/* The port that is listened on. */
unsigned wp_web_port(const struct wp_web *web);

/* Call after each group commit: live events look for news. */
void wp_web_committed(struct wp_web *web);

/* Stops in order: no new connections, ends live streams, lets running requests finish (it turns the
 * loop, 10 s at most), closes, frees. NULL is harmless. */
void wp_web_stop(struct wp_web *web);

#endif
