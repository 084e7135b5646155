#include "listener.h"

#include <errno.h>
#include <netdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "base/clock.h"
#include "base/log.h"
#include "handler.h"

#define POOL_SIZE (8 * 1024)
#define IDLE_S 100
#define BACKLOG 1024
#define CONTROL_CONNECTIONS 64

struct wp_listener {
    struct wp_web *web;
    struct MHD_Daemon *daemon;
    uv_poll_t poll;
    uv_timer_t timer;
    uv_idle_t idle;
    int fd; /* the listening socket, -1 when libmicrohttpd has closed it */
    bool control;
    unsigned closing;
    char path[640]; /* of the control socket */
};

/* ---- driving libmicrohttpd ---- */

static void kick(struct wp_listener *listener);

static void on_idle(uv_idle_t *idle)
{
    uv_idle_stop(idle);
    kick(idle->data);
}

void wp_listener_soon(struct wp_listener *listener)
{
    if (listener->daemon)
        uv_idle_start(&listener->idle, on_idle);
}

static void on_timer(uv_timer_t *timer)
{
    kick(timer->data);
}

static void on_poll(uv_poll_t *poll, int status, int events)
{
    (void)status;
    (void)events;
    kick(poll->data);
}

static void kick(struct wp_listener *listener)
{
    if (!listener->daemon)
        return;
    MHD_run(listener->daemon);
    MHD_UNSIGNED_LONG_LONG wait = 0;
    if (MHD_get_timeout(listener->daemon, &wait) != MHD_YES)
        uv_timer_stop(&listener->timer);
    else if (wait == 0)
        uv_idle_start(&listener->idle, on_idle);
    else
        uv_timer_start(&listener->timer, on_timer, wait, 0);
}

/* ---- connections ---- */

static void name_peer(struct wp_peer *peer)
{
    struct sockaddr_storage address;
    socklen_t length = sizeof address;
    snprintf(peer->address, sizeof peer->address, "%s", "unknown");
    if (getpeername(peer->fd, (struct sockaddr *)&address, &length) != 0)
        return;
    if (getnameinfo((struct sockaddr *)&address, length, peer->address, sizeof peer->address, NULL,
                    0, NI_NUMERICHOST) != 0)
        return;
    const char *bare = !strncmp(peer->address, "::ffff:", 7) ? peer->address + 7 : peer->address;
    peer->loopback = !strncmp(bare, "127.", 4) || !strcmp(bare, "::1");
}

/* Root or the gateway's own user may use the control socket, whatever the file's mode is. */
static void name_caller(struct wp_peer *peer)
{
    struct ucred caller;
    socklen_t length = sizeof caller;
    snprintf(peer->address, sizeof peer->address, "%s", "local");
    if (getsockopt(peer->fd, SOL_SOCKET, SO_PEERCRED, &caller, &length) == 0 &&
        (caller.uid == 0 || caller.uid == geteuid())) {
        peer->uid = caller.uid;
        return;
    }
    wp_log(WP_LOG_WARN, "web", "a stranger was turned away from the control socket");
    shutdown(peer->fd, SHUT_RDWR);
}

static void add_peer(struct wp_listener *listener, struct MHD_Connection *connection,
                     void **context)
{
    struct wp_peer *peer = calloc(1, sizeof *peer);
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    *context = peer;
    if (!peer || !info) { /* without a peer the handler refuses every request */
        free(peer);
        *context = NULL;
        return;
    }
    struct wp_web *web = listener->web;
    peer->web = web;
    peer->listener = listener;
    peer->fd = info->connect_fd;
    peer->uid = (uid_t)-1;
    peer->waiting_us = wp_clock_steady();
    if (listener->control)
        name_caller(peer);
    else
        name_peer(peer);
    peer->next = web->peers;
    if (web->peers)
        web->peers->previous = peer;
    web->peers = peer;
    web->peer_count++;
}

static void remove_peer(struct wp_peer *peer)
{
    if (!peer)
        return;
    struct wp_web *web = peer->web;
    if (peer->previous)
        peer->previous->next = peer->next;
    else
        web->peers = peer->next;
    if (peer->next)
        peer->next->previous = peer->previous;
    web->peer_count--;
    free(peer);
}

static void on_connection(void *cls, struct MHD_Connection *connection, void **context,
                          enum MHD_ConnectionNotificationCode code)
{
    if (code == MHD_CONNECTION_NOTIFY_STARTED)
        add_peer(cls, connection, context);
    else
        remove_peer(*context);
}

#define HEADER_US (120 * WP_SECOND)
#define BODY_GRACE_US (30 * WP_SECOND)
#define BODY_RATE 1024 /* bytes a second, on average, after the grace */

/* Too long over its header, or a body that trickles. What we make wait ourselves is not slow. */
static bool too_slow(const struct wp_peer *peer, int64_t now)
{
    if (peer->waiting_us)
        return now - peer->waiting_us > HEADER_US;
    const struct wp_request *request = peer->request;
    if (!request || request->busy || request->started || request->response)
        return false;
    int64_t taking = now - request->begun_us - request->body.waited_us;
    return taking > BODY_GRACE_US &&
           (int64_t)request->body.total < (taking - BODY_GRACE_US) / WP_SECOND * BODY_RATE + 1;
}

void wp_listener_watch(struct wp_web *web)
{
    int64_t now = wp_clock_steady();
    for (struct wp_peer *peer = web->peers; peer; peer = peer->next) {
        if (!too_slow(peer, now))
            continue;
        web->counts.cut++;
        shutdown(peer->fd, SHUT_RDWR);
    }
}

/* ---- opening ---- */

static void log_daemon(void *cls, const char *format, va_list arguments)
{
    (void)cls;
    char text[512];
    vsnprintf(text, sizeof text, format, arguments);
    wp_log(WP_LOG_DEBUG, "web", "%s", text);
}

/* Paths and queries are decoded by ourselves, after they have been cut. */
static size_t keep_encoding(void *cls, struct MHD_Connection *connection, char *text)
{
    (void)cls;
    (void)connection;
    return strlen(text);
}

static struct MHD_Daemon *start_daemon(struct wp_listener *listener)
{
    struct wp_web *web = listener->web;
    const struct wp_tls *tls = listener->control ? NULL : web->options.tls;
    unsigned flags = MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG;
    struct MHD_OptionItem tls_options[] = {
        {MHD_OPTION_HTTPS_MEM_CERT, 0, tls ? tls->certificate : NULL},
        {MHD_OPTION_HTTPS_MEM_KEY, 0, tls ? tls->key : NULL},
        {MHD_OPTION_HTTPS_PRIORITIES, 0, "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2"},
        {MHD_OPTION_END, 0, NULL}};
    struct MHD_OptionItem none[] = {{MHD_OPTION_END, 0, NULL}};
    if (tls)
        flags |= MHD_USE_TLS;
    return MHD_start_daemon(
        flags, 0, NULL, NULL, wp_handle_request, listener, MHD_OPTION_EXTERNAL_LOGGER, log_daemon,
        NULL, MHD_OPTION_LISTEN_SOCKET, listener->fd, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
        (size_t)POOL_SIZE, MHD_OPTION_CONNECTION_LIMIT,
        listener->control ? CONTROL_CONNECTIONS : web->options.connections_most,
        MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)IDLE_S, MHD_OPTION_NOTIFY_CONNECTION,
        on_connection, listener, MHD_OPTION_NOTIFY_COMPLETED, wp_handle_completed, listener,
        MHD_OPTION_UNESCAPE_CALLBACK, keep_encoding, NULL, MHD_OPTION_STRICT_FOR_CLIENT, 1,
        MHD_OPTION_SIGPIPE_HANDLED_BY_APP, 1, MHD_OPTION_ARRAY, tls ? tls_options : none,
        MHD_OPTION_END);
}

static enum wp_status open_daemon(struct wp_listener *listener, struct wp_error *error)
{
    uv_loop_t *loop = listener->web->options.loop;
    listener->daemon = start_daemon(listener);
    if (!listener->daemon)
        return wp_fail(error, WP_IO, "The HTTP server could not start.");
    int epoll = MHD_get_daemon_info(listener->daemon, MHD_DAEMON_INFO_EPOLL_FD)->epoll_fd;
    if (uv_poll_init(loop, &listener->poll, epoll) != 0) {
        MHD_stop_daemon(listener->daemon);
        listener->daemon = NULL;
        listener->fd = -1;
        return wp_fail(error, WP_IO, "The HTTP server could not be watched.");
    }
    uv_timer_init(loop, &listener->timer);
    uv_idle_init(loop, &listener->idle);
    listener->poll.data = listener->timer.data = listener->idle.data = listener;
    uv_poll_start(&listener->poll, UV_READABLE, on_poll);
    kick(listener);
    return WP_OK;
}

static struct wp_listener *new_listener(struct wp_web *web, bool control)
{
    struct wp_listener *listener = calloc(1, sizeof *listener);
    if (!listener)
        return NULL;
    listener->web = web;
    listener->control = control;
    listener->fd = -1;
    return listener;
}

/* Finishes opening: the daemon on the socket, or everything undone. */
static enum wp_status finish(struct wp_listener *made, enum wp_status status,
                             struct wp_listener **listener, struct wp_error *error)
{
    if (!status)
        status = open_daemon(made, error);
    if (status) {
        if (made->fd >= 0)
            close(made->fd);
        free(made);
        made = NULL;
    }
    *listener = made;
    return status;
}

static int bind_one(const struct addrinfo *address)
{
    int fd = socket(address->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    int on = 1;
    int off = 0;
    if (fd < 0)
        return -1;
    setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    if (address->ai_family == AF_INET6)
        setsockopt(fd, IPPROTO_IPV6, IPV6_V6ONLY, &off, sizeof off);
    if (bind(fd, address->ai_addr, address->ai_addrlen) == 0 && listen(fd, BACKLOG) == 0)
        return fd;
    int code = errno;
    close(fd);
    errno = code;
    return -1;
}

static unsigned bound_port(int fd)
{
    struct sockaddr_storage address;
    socklen_t length = sizeof address;
    char port[16] = "0";
    if (getsockname(fd, (struct sockaddr *)&address, &length) == 0)
        getnameinfo((struct sockaddr *)&address, length, NULL, 0, port, sizeof port,
                    NI_NUMERICSERV);
    return (unsigned)strtoul(port, NULL, 10);
}

static enum wp_status bind_tcp(struct wp_listener *listener, struct wp_error *error)
{
    struct wp_web *web = listener->web;
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM, .ai_flags = AI_PASSIVE};
    struct addrinfo *found = NULL;
    char port[16];
    snprintf(port, sizeof port, "%u", web->options.port);
    int code = getaddrinfo(web->host, port, &hints, &found);
    if (code != 0)
        return wp_fail(error, WP_IO, "%s: %s.", web->host, gai_strerror(code));
    for (struct addrinfo *at = found; at && listener->fd < 0; at = at->ai_next)
        listener->fd = bind_one(at);
    code = errno;
    freeaddrinfo(found);
    if (listener->fd < 0)
        return wp_fail(error, WP_IO, "Cannot listen on %s port %s: %s.", web->host, port,
                       strerror(code));
    web->port = bound_port(listener->fd);
    return WP_OK;
}

enum wp_status wp_listener_tcp(struct wp_web *web, struct wp_listener **listener,
                               struct wp_error *error)
{
    struct wp_listener *made = new_listener(web, false);
    *listener = NULL;
    return made ? finish(made, bind_tcp(made, error), listener, error)
                : wp_fail(error, WP_NO_MEMORY, "There is no memory for a listener.");
}

static enum wp_status bind_control(struct wp_listener *listener, struct wp_error *error)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    snprintf(listener->path, sizeof listener->path, "%s/control.sock", listener->web->folder);
    if (strlen(listener->path) >= sizeof address.sun_path)
        return wp_fail(error, WP_INVALID,
                       "The data folder's path is too long for a control socket.");
    memcpy(address.sun_path, listener->path, strlen(listener->path) + 1);
    unlink(listener->path); /* left by a crash; the folder's lock is ours */
    listener->fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    mode_t before = umask(0177);
    bool bound = listener->fd >= 0 &&
                 bind(listener->fd, (struct sockaddr *)&address, sizeof address) == 0 &&
                 listen(listener->fd, BACKLOG) == 0;
    int code = errno;
    umask(before);
    return bound
               ? WP_OK
               : wp_fail(error, WP_IO, "The control socket could not be made: %s.", strerror(code));
}

enum wp_status wp_listener_control(struct wp_web *web, struct wp_listener **listener,
                                   struct wp_error *error)
{
    struct wp_listener *made = new_listener(web, true);
    *listener = NULL;
    return made ? finish(made, bind_control(made, error), listener, error)
                : wp_fail(error, WP_NO_MEMORY, "There is no memory for a listener.");
}

/* ---- closing ---- */

void wp_listener_quiesce(struct wp_listener *listener)
{
    if (!listener || !listener->daemon || listener->fd < 0)
        return;
    if (MHD_quiesce_daemon(listener->daemon) != MHD_INVALID_SOCKET)
        close(listener->fd);
    listener->fd = -1;
    if (listener->control)
        unlink(listener->path);
}

static void on_closed(uv_handle_t *handle)
{
    struct wp_listener *listener = handle->data;
    if (--listener->closing > 0)
        return;
    listener->web->open_handles--;
    free(listener);
}

void wp_listener_free(struct wp_listener *listener)
{
    if (!listener)
        return;
    wp_listener_quiesce(listener);
    uv_poll_stop(&listener->poll);
    struct MHD_Daemon *daemon = listener->daemon;
    listener->daemon = NULL;
    MHD_stop_daemon(daemon);
    listener->closing = 3;
    listener->web->open_handles++;
    uv_close((uv_handle_t *)&listener->poll, on_closed);
    uv_close((uv_handle_t *)&listener->timer, on_closed);
    uv_close((uv_handle_t *)&listener->idle, on_closed);
}
