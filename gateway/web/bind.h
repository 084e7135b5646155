/* bind.h - the sockets that are listened on. Thread: the loop's. */
#ifndef BIND_H
#define BIND_H

#include "base/status.h"

struct wp_web;

/* Binds the TCP socket of the server's options and stores the port; `*fd` is the caller's. WP_IO.
 */
enum wp_status wp_bind_tcp(struct wp_web *web, int *fd, struct wp_error *error);

/* Binds the control socket at `path`, for our own user alone. WP_IO; WP_INVALID: the path is too
 * long for a socket. */
enum wp_status wp_bind_control(const char *path, int *fd, struct wp_error *error);

#endif
