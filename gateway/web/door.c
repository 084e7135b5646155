#include "door.h"

#include <errno.h>
#include <netinet/in.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#include "base/clock.h"
#include "base/log.h"
#include "listener.h"
#include "request.h"

#define FAIR_SHARE 32            /* strangers of one address that need not make room for others */
#define GRACE_US (5 * WP_SECOND) /* for a handshake and a first request */
#define OTHER_FILES 256          /* descriptors for everything but connections */
#define AT_ONCE 64               /* accepted before the loop turns again */

void wp_door_init(struct wp_web *web, unsigned most)
{
    struct wp_door *door = &web->door;
    struct rlimit files;
    memset(door, 0, sizeof *door);
    wp_random(&door->seed, sizeof door->seed);
    if (getrlimit(RLIMIT_NOFILE, &files) == 0 && files.rlim_cur < (rlim_t)most + OTHER_FILES) {
        unsigned fits =
            files.rlim_cur > 2 * OTHER_FILES ? (unsigned)files.rlim_cur - OTHER_FILES : OTHER_FILES;
        most = fits < most ? fits : most;
        wp_log(WP_LOG_WARN, "web", "the limit of open files (%llu) leaves room for %u connections",
               (unsigned long long)files.rlim_cur, most);
    }
    door->most = most;
    door->strangers_most = most - most / 4;
}

/* ---- strangers ---- */

/* FNV-1a over the seed and the address (values from memory); the seed makes it unforeseeable. */
static unsigned slot_of(const struct wp_door *door, const struct sockaddr_storage *address)
{
    union {
        const struct sockaddr_storage *any;
        const struct sockaddr_in *in4;
        const struct sockaddr_in6 *in6;
    } at = {.any = address};
    const unsigned char *bytes = (const unsigned char *)&at.in4->sin_addr;
    size_t size = sizeof at.in4->sin_addr;
    if (address->ss_family == AF_INET6) {
        bytes = at.in6->sin6_addr.s6_addr;
        size = 8;
        if (IN6_IS_ADDR_V4MAPPED(&at.in6->sin6_addr)) {
            bytes += 12;
            size = 4;
        }
    }
    uint32_t hash = 2166136261U ^ door->seed;
    for (size_t i = 0; i < size; i++)
        hash = (hash ^ bytes[i]) * 16777619U;
    return (hash ^ hash >> 16) % WP_DOOR_SLOTS;
}

void wp_door_enter(struct wp_peer *peer, const struct sockaddr_storage *address)
{
    struct wp_door *door = &peer->web->door;
    peer->stranger = true;
    peer->slot = slot_of(door, address);
    peer->came_us = wp_clock_steady();
    peer->older = door->last;
    if (door->last)
        door->last->younger = peer;
    else
        door->first = peer;
    door->last = peer;
    door->strangers++;
    door->counts[peer->slot]++;
}

static void forget(struct wp_peer *peer)
{
    struct wp_door *door = &peer->web->door;
    if (peer->older)
        peer->older->younger = peer->younger;
    else
        door->first = peer->younger;
    if (peer->younger)
        peer->younger->older = peer->older;
    else
        door->last = peer->older;
    peer->older = peer->younger = NULL;
    peer->stranger = false;
    door->strangers--;
    door->counts[peer->slot]--;
}

void wp_door_known(struct wp_peer *peer)
{
    peer->known = true;
    if (peer->stranger)
        forget(peer);
}

void wp_door_leave(struct wp_peer *peer)
{
    if (peer->stranger)
        forget(peer);
}

static struct wp_peer *first_to_go(struct wp_door *door)
{
    unsigned slot = 0;
    for (unsigned i = 1; i < WP_DOOR_SLOTS; i++)
        if (door->counts[i] > door->counts[slot])
            slot = i;
    struct wp_peer *peer = door->first;
    if (door->counts[slot] <= FAIR_SHARE)
        return peer && wp_clock_steady() - peer->came_us > GRACE_US ? peer : NULL;
    while (peer && peer->slot != slot)
        peer = peer->younger;
    return peer;
}

bool wp_door_make_room(struct wp_web *web)
{
    struct wp_peer *peer = first_to_go(&web->door);
    if (!peer)
        return false;
    forget(peer);
    web->counts.shed++;
    shutdown(peer->fd, SHUT_RDWR);
    return true;
}

/* ---- accepting ---- */

/* Those who were asked to go still count until libmicrohttpd has closed them. */
static bool room_for_one(struct wp_web *web)
{
    struct wp_door *door = &web->door;
    if (door->strangers >= door->strangers_most && !wp_door_make_room(web))
        return false;
    return web->peer_count < door->most || wp_door_make_room(web);
}

static void say_full(struct wp_web *web, bool full, const char *why)
{
    if (full && !web->door.told)
        wp_log(WP_LOG_WARN, "web", "no more connections are taken at present: %s", why);
    web->door.told = full;
}

/* True: the listening socket has another one, or will say so. */
static bool accept_one(struct wp_listener *listener, bool *more)
{
    struct sockaddr_storage address;
    socklen_t size = sizeof address;
    int fd = accept4(wp_listener_socket(listener), (struct sockaddr *)&address, &size,
                     SOCK_NONBLOCK | SOCK_CLOEXEC);
    *more = fd >= 0 || errno == EINTR || errno == ECONNABORTED;
    if (fd >= 0) {
        wp_listener_add(listener, fd, &address, size);
        return true;
    }
    return *more || errno == EAGAIN || errno == EWOULDBLOCK || errno == EPROTO;
}

bool wp_door_accept(struct wp_listener *listener)
{
    struct wp_web *web = wp_listener_web(listener);
    bool more = true;
    for (int i = 0; more && i < AT_ONCE; i++) {
        if (!wp_listener_is_control(listener) && !room_for_one(web)) {
            say_full(web, true, "all are in use");
            return false;
        }
        if (!accept_one(listener, &more)) {
            say_full(web, true, strerror(errno));
            wp_door_make_room(web);
            return false;
        }
    }
    say_full(web, false, "");
    return true;
}
