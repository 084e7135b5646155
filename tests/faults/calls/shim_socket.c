/* The socket calls of shim.c. Each fails as the kernel lets it fail: no descriptor left, the peer
 * gone, no memory for a watch. Calls that only wait are left out: they cannot fail but by a signal.
 */
#include "shim.h"

#include <dlfcn.h>
#include <errno.h>
#include <stddef.h>
#include <sys/epoll.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/uio.h>

/* NAME as declared by the system, counted, failing with ERROR; `when` says whether it is a
 * socket's. */
#define CALL(result, name, error, when, parameters, arguments)                                     \
    result name parameters                                                                         \
    {                                                                                              \
        static result(*real) parameters;                                                           \
        if (!real)                                                                                 \
            *(void **)&real = dlsym(RTLD_NEXT, #name);                                             \
        if ((when) && shim_fails(SHIM_SOCKET, #name)) {                                            \
            errno = error;                                                                         \
            return -1;                                                                             \
        }                                                                                          \
        return real arguments;                                                                     \
    }

static int is_socket(int fd)
{
    struct stat about;
    return fstat(fd, &about) == 0 && S_ISSOCK(about.st_mode);
}

CALL(int, socket, EMFILE, 1, (int domain, int type, int protocol), (domain, type, protocol))
CALL(int, socketpair, EMFILE, 1, (int domain, int type, int protocol, int fds[2]),
     (domain, type, protocol, fds))
CALL(int, eventfd, EMFILE, 1, (unsigned count, int flags), (count, flags))
CALL(int, accept, EMFILE, 1, (int fd, struct sockaddr *address, socklen_t *size),
     (fd, address, size))
CALL(int, accept4, EMFILE, 1, (int fd, struct sockaddr *address, socklen_t *size, int flags),
     (fd, address, size, flags))
CALL(int, connect, ENETUNREACH, 1, (int fd, const struct sockaddr *address, socklen_t size),
     (fd, address, size))
CALL(ssize_t, send, ECONNRESET, 1, (int fd, const void *data, size_t size, int flags),
     (fd, data, size, flags))
CALL(ssize_t, sendto, ECONNRESET, 1,
     (int fd, const void *data, size_t size, int flags, const struct sockaddr *address,
      socklen_t room),
     (fd, data, size, flags, address, room))
CALL(ssize_t, sendmsg, ECONNRESET, 1, (int fd, const struct msghdr *message, int flags),
     (fd, message, flags))
CALL(ssize_t, recv, ECONNRESET, 1, (int fd, void *data, size_t size, int flags),
     (fd, data, size, flags))
CALL(ssize_t, recvfrom, ECONNRESET, 1,
     (int fd, void *data, size_t size, int flags, struct sockaddr *address, socklen_t *room),
     (fd, data, size, flags, address, room))
CALL(ssize_t, recvmsg, ECONNRESET, 1, (int fd, struct msghdr *message, int flags),
     (fd, message, flags))
CALL(ssize_t, writev, ECONNRESET, is_socket(fd), (int fd, const struct iovec *parts, int count),
     (fd, parts, count))
CALL(ssize_t, readv, ECONNRESET, is_socket(fd), (int fd, const struct iovec *parts, int count),
     (fd, parts, count))
CALL(int, epoll_ctl, ENOMEM, 1, (int epoll, int what, int fd, struct epoll_event *event),
     (epoll, what, fd, event))
CALL(int, setsockopt, ENOBUFS, 1,
     (int fd, int level, int option, const void *value, socklen_t size),
     (fd, level, option, value, size))
CALL(int, getsockopt, ENOBUFS, 1,
     (int fd, int level, int option, void *restrict value, socklen_t *restrict size),
     (fd, level, option, value, size))
CALL(int, getsockname, ENOBUFS, 1, (int fd, struct sockaddr *address, socklen_t *size),
     (fd, address, size))
CALL(int, getpeername, ENOTCONN, 1, (int fd, struct sockaddr *address, socklen_t *size),
     (fd, address, size))
CALL(int, shutdown, ENOTCONN, 1, (int fd, int how), (fd, how))

/* What a program compiled with checks for overflow calls instead. */
ssize_t __recv_chk(int fd, void *data, size_t size, size_t room, int flags);

CALL(ssize_t, __recv_chk, ECONNRESET, 1, (int fd, void *data, size_t size, size_t room, int flags),
     (fd, data, size, room, flags))
