#include "listener.h"

#include <netdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "base/clock.h"
#include "base/log.h"
#include "bind.h"
#include "handler.h"

#define POOL_SIZE (8 * 1024)
#define IDLE_S 100
#define CONTROL_CONNECTIONS 64
#define LEAVING 256 /* connections that were asked to go and are not closed yet */
#define DOOR_MS 50  /* until newcomers are looked at again when nobody could be let in */
#define HANDLES 5

struct wp_listener {
    struct wp_web *web;
    struct MHD_Daemon *daemon;
    uv_poll_t poll;
    uv_timer_t timer;
    uv_idle_t idle;
    uv_poll_t door; /* on the listening socket, which is ours: see wp_door_accept */
    uv_timer_t door_timer;
    int fd;                                  /* the listening socket, -1 when it is closed */
    const struct sockaddr_storage *arriving; /* while libmicrohttpd takes it over */
    socklen_t arriving_size;
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

static void name_peer(struct wp_peer *peer, const struct wp_listener *listener)
{
    if (getnameinfo((const struct sockaddr *)listener->arriving, listener->arriving_size,
                    peer->address, sizeof peer->address, NULL, 0, NI_NUMERICHOST) != 0) {
        snprintf(peer->address, sizeof peer->address, "%s", "unknown");
        return;
    }
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
        peer->known = true;
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
    if (listener->control) {
        name_caller(peer);
    } else {
        name_peer(peer, listener);
        wp_door_enter(peer, listener->arriving);
    }
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
    wp_door_leave(peer);
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
#define FIRST_HEADER_US (30 * WP_SECOND) /* from accept: TLS handshake and the first header */
#define BODY_GRACE_US (30 * WP_SECOND)
#define BODY_RATE 1024 /* bytes a second, on average, after the grace */

/* Too long over its header, or a body that trickles. What we make wait ourselves is not slow. */
static bool too_slow(const struct wp_peer *peer, int64_t now)
{
    if (peer->waiting_us)
        return now - peer->waiting_us > (peer->asked ? HEADER_US : FIRST_HEADER_US);
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

/* ---- accepting ---- */

struct wp_web *wp_listener_web(struct wp_listener *listener)
{
    return listener->web;
}

int wp_listener_socket(const struct wp_listener *listener)
{
    return listener->fd;
}

bool wp_listener_is_control(const struct wp_listener *listener)
{
    return listener->control;
}

void wp_listener_add(struct wp_listener *listener, int fd, const struct sockaddr_storage *address,
                     socklen_t size)
{
    listener->arriving = address;
    listener->arriving_size = size;
    (void)MHD_add_connection(listener->daemon, fd, (const struct sockaddr *)address, size);
    listener->arriving = NULL;
}

static void open_door(struct wp_listener *listener);

static void on_door_timer(uv_timer_t *timer)
{
    open_door(timer->data);
}

static void on_door(uv_poll_t *door, int status, int events)
{
    struct wp_listener *listener = door->data;
    (void)status;
    (void)events;
    if (!wp_door_accept(listener)) {
        uv_poll_stop(&listener->door);
        uv_timer_start(&listener->door_timer, on_door_timer, DOOR_MS, 0);
    }
    kick(listener);
}

static void open_door(struct wp_listener *listener)
{
    if (listener->fd >= 0)
        uv_poll_start(&listener->door, UV_READABLE, on_door);
}

/* ---- opening ---- */

static void log_daemon(void *cls, const char *format, va_list arguments)
{
    (void)cls;
    char text[512];
    vsnprintf(text, sizeof text, format, arguments);
    wp_log(WP_LOG_DEBUG, "web", "%s", text);
}

/* libmicrohttpd cannot go on, and could not if we returned: a restart recovers. What has a receipt
 * is on the disk. */
static void on_panic(void *cls, const char *file, unsigned line, const char *reason)
{
    (void)cls;
    wp_log(WP_LOG_ERROR, "web", "the HTTP library gave up (%s, line %u): %s", file ? file : "",
           line, reason ? reason : "no reason given");
    _exit(1);
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
    unsigned flags =
        MHD_USE_EPOLL | MHD_USE_NO_LISTEN_SOCKET | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG;
    unsigned most = listener->control ? CONTROL_CONNECTIONS : web->door.most + LEAVING;
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
        NULL, MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)POOL_SIZE, MHD_OPTION_CONNECTION_LIMIT,
        most, MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)IDLE_S, MHD_OPTION_NOTIFY_CONNECTION,
        on_connection, listener, MHD_OPTION_NOTIFY_COMPLETED, wp_handle_completed, listener,
        MHD_OPTION_UNESCAPE_CALLBACK, keep_encoding, NULL, MHD_OPTION_STRICT_FOR_CLIENT, 1,
        MHD_OPTION_SIGPIPE_HANDLED_BY_APP, 1, MHD_OPTION_ARRAY, tls ? tls_options : none,
        MHD_OPTION_END);
}

static enum wp_status open_daemon(struct wp_listener *listener, struct wp_error *error)
{
    uv_loop_t *loop = listener->web->options.loop;
    MHD_set_panic_func(on_panic, NULL);
    listener->daemon = start_daemon(listener);
    if (!listener->daemon)
        return wp_fail(error, WP_IO, "The HTTP server could not start.");
    int epoll = MHD_get_daemon_info(listener->daemon, MHD_DAEMON_INFO_EPOLL_FD)->epoll_fd;
    uv_timer_init(loop, &listener->timer);
    uv_timer_init(loop, &listener->door_timer);
    uv_idle_init(loop, &listener->idle);
    if (uv_poll_init(loop, &listener->poll, epoll) != 0 ||
        uv_poll_init(loop, &listener->door, listener->fd) != 0)
        return wp_fail(error, WP_IO, "The HTTP server could not be watched.");
    listener->poll.data = listener->timer.data = listener->idle.data = listener;
    listener->door.data = listener->door_timer.data = listener;
    uv_poll_start(&listener->poll, UV_READABLE, on_poll);
    open_door(listener);
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
    if (status)
        wp_listener_free(made);
    *listener = status ? NULL : made;
    return status;
}

enum wp_status wp_listener_tcp(struct wp_web *web, struct wp_listener **listener,
                               struct wp_error *error)
{
    struct wp_listener *made = new_listener(web, false);
    *listener = NULL;
    return made ? finish(made, wp_bind_tcp(web, &made->fd, error), listener, error)
                : wp_fail(error, WP_NO_MEMORY, "There is no memory for a listener.");
}

enum wp_status wp_listener_control(struct wp_web *web, struct wp_listener **listener,
                                   struct wp_error *error)
{
    struct wp_listener *made = new_listener(web, true);
    *listener = NULL;
    if (!made)
        return wp_fail(error, WP_NO_MEMORY, "There is no memory for a listener.");
    snprintf(made->path, sizeof made->path, "%s/control.sock", web->folder);
    return finish(made, wp_bind_control(made->path, &made->fd, error), listener, error);
}

/* ---- closing ---- */

void wp_listener_quiesce(struct wp_listener *listener)
{
    if (!listener || listener->fd < 0)
        return;
    if (listener->door.type == UV_POLL)
        uv_poll_stop(&listener->door);
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

/* What failed to open has some handles only. */
static void close_handles(struct wp_listener *listener)
{
    uv_handle_t *const handles[HANDLES] = {
        (uv_handle_t *)&listener->timer, (uv_handle_t *)&listener->door_timer,
        (uv_handle_t *)&listener->idle, (uv_handle_t *)&listener->poll,
        (uv_handle_t *)&listener->door};
    for (int i = 0; i < HANDLES; i++) {
        if (handles[i]->type == UV_UNKNOWN_HANDLE)
            continue;
        handles[i]->data = listener;
        listener->closing++;
        uv_close(handles[i], on_closed);
    }
}

void wp_listener_free(struct wp_listener *listener)
{
    if (!listener)
        return;
    wp_listener_quiesce(listener);
    if (!listener->daemon) {
        free(listener);
        return;
    }
    if (listener->poll.type == UV_POLL)
        uv_poll_stop(&listener->poll);
    struct MHD_Daemon *daemon = listener->daemon;
    listener->daemon = NULL;
    MHD_stop_daemon(daemon);
    listener->web->open_handles++;
    close_handles(listener);
}
