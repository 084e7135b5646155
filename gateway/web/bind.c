/* The sockets that are listened on. */
#include <errno.h>
#include <netdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "bind.h"
#include "request.h"

#define BACKLOG 1024

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

enum wp_status wp_bind_tcp(struct wp_web *web, int *fd, struct wp_error *error)
{
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM, .ai_flags = AI_PASSIVE};
    struct addrinfo *found = NULL;
    char port[16];
    snprintf(port, sizeof port, "%u", web->options.port);
    int code = getaddrinfo(web->host, port, &hints, &found);
    if (code != 0)
        return wp_fail(error, WP_IO, "%s: %s.", web->host, gai_strerror(code));
    for (struct addrinfo *at = found; at && *fd < 0; at = at->ai_next)
        *fd = bind_one(at);
    code = errno;
    freeaddrinfo(found);
    if (*fd < 0)
        return wp_fail(error, WP_IO, "Cannot listen on %s port %s: %s.", web->host, port,
                       strerror(code));
    web->port = bound_port(*fd);
    return WP_OK;
}

enum wp_status wp_bind_control(const char *path, int *fd, struct wp_error *error)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (strlen(path) >= sizeof address.sun_path)
        return wp_fail(error, WP_INVALID,
                       "The data folder's path is too long for a control socket.");
    memcpy(address.sun_path, path, strlen(path) + 1);
    unlink(path); /* left by a crash; the folder's lock is ours */
    *fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    mode_t before = umask(0177);
    bool bound = *fd >= 0 && bind(*fd, (struct sockaddr *)&address, sizeof address) == 0 &&
                 listen(*fd, BACKLOG) == 0;
    int code = errno;
    umask(before);
    return bound
               ? WP_OK
               : wp_fail(error, WP_IO, "The control socket could not be made: %s.", strerror(code));
}
