/* door.h - who gets a connection, and who must go when connections or memory run short.
 *
 * A connection is a *stranger* until a request on it has proved who asks (a person's session, an
 * agent's or a bench's token). Strangers hold at most three quarters of the connections. When one
 * more comes, the address with the most strangers loses its oldest one; where no address has more
 * than a fair share, one that has been here for some seconds goes; else the newcomer waits in the
 * listening socket's queue. So neither many idle connections nor half-made handshakes keep agents
 * out, and what has proved itself is never cut off here. An address is an IPv4 address or the first
 * 64 bits of an IPv6 address (what one subscriber is given; RFC 6177 discusses sizes).
 *
 * Thread: the loop's.
 */
#ifndef DOOR_H
#define DOOR_H

#include <stdbool.h>
#include <sys/socket.h>
#include <sys/types.h>

#define WP_DOOR_SLOTS 4096

struct wp_web;
struct wp_peer;
struct wp_listener;
struct sockaddr_storage;

struct wp_door {
    struct wp_peer *first, *last; /* strangers, oldest first */
    unsigned strangers, strangers_most, most;
    unsigned seed;                        /* an address cannot choose its slot */
    unsigned short counts[WP_DOOR_SLOTS]; /* strangers by address */
    bool told;                            /* that it is full; said once until it is not */
};

/* Limits: `most` connections, cut down to what the process may open (a warning says so). */
void wp_door_init(struct wp_web *web, unsigned most);

/* Accepts what waits on the listening socket and hands it to libmicrohttpd, some at a time. False:
 * nobody more can be let in now; ask again a little later. */
bool wp_door_accept(struct wp_listener *listener);

/* A connection of the TCP listener was made, is known from now on, or is gone. */
void wp_door_enter(struct wp_peer *peer, const struct sockaddr_storage *address);
void wp_door_known(struct wp_peer *peer);
void wp_door_leave(struct wp_peer *peer);

/* One stranger goes, if the rule above names one. */
bool wp_door_make_room(struct wp_web *web);

#endif
