/* listener.h - one libmicrohttpd daemon in external epoll mode on the libuv loop.
 *
 * Connections are accepted here and handed over (door.h): libmicrohttpd, out of descriptors once,
 * would not look for newcomers before one of its connections has ended.
 *
 * libmicrohttpd calls the handler again after a suspend when more of a chunked body is buffered, so
 * every handler call looks at the request's `busy` first. An answer is given at the second handler
 * call or later; given at the first one, the connection closes.
 */
#ifndef LISTENER_H
#define LISTENER_H

#include "request.h"

struct wp_listener;

/* Opens the TCP listener of the server's options and stores the port, or the control socket.
 * WP_IO, WP_NO_MEMORY. */
enum wp_status wp_listener_tcp(struct wp_web *web, struct wp_listener **listener,
                               struct wp_error *error);
enum wp_status wp_listener_control(struct wp_web *web, struct wp_listener **listener,
                                   struct wp_error *error);

/* Lets libmicrohttpd run when the loop next turns, never from inside this call: it may end any
 * request. */
void wp_listener_soon(struct wp_listener *listener);

/* For the door: whose it is, the socket that is listened on (-1: closed), whether it is the control
 * socket; and an accepted connection for libmicrohttpd, which closes `fd` if it cannot take it. */
struct wp_web *wp_listener_web(struct wp_listener *listener);
int wp_listener_socket(const struct wp_listener *listener);
bool wp_listener_is_control(const struct wp_listener *listener);
void wp_listener_add(struct wp_listener *listener, int fd, const struct sockaddr_storage *address,
                     socklen_t size);

/* Stops accepting. Suspended requests must have been answered before wp_listener_free. */
void wp_listener_quiesce(struct wp_listener *listener);

/* Closes every connection and the daemon; its memory goes when the loop has turned. NULL-safe. */
void wp_listener_free(struct wp_listener *listener);

/* Connections of all listeners that are too slow are shut down. Called every second. */
void wp_listener_watch(struct wp_web *web);

#endif
