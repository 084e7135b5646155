/* dispatch/delivery.h - the states of a delivery. Private to dispatch.
 *
 * One table (state.c) says which change is allowed; wp_delivery_move is the only place that writes
 * the column. Each change appends an event in the same transaction and calls the hook.
 */
#ifndef DISPATCH_DELIVERY_H
#define DISPATCH_DELIVERY_H

#include "dispatch/dispatch.h"

enum wp_delivery_state {
    WP_DELIVERY_NEW, /* before it exists; never stored */
    WP_DELIVERY_WAITING,
    WP_DELIVERY_SENDING,
    WP_DELIVERY_PRINTING,
    WP_DELIVERY_ASKING,
    WP_DELIVERY_UNCERTAIN,
    WP_DELIVERY_DONE,
    WP_DELIVERY_FAILED,
    WP_DELIVERY_CANCELLED,
    WP_DELIVERY_INBOX,
    WP_DELIVERY_STATES
};

/* "waiting", ...; "new" for WP_DELIVERY_NEW. */
const char *wp_delivery_state_name(enum wp_delivery_state state);
/* False if the text is no state that is stored. */
bool wp_delivery_state_read(const char *text, enum wp_delivery_state *state);

/* True if the table allows the change. Staying in a state is allowed for those that tell people how
 * it goes on (waiting, printing, asking, uncertain; done: mail that is late). From done to failed
 * only a mail goes that came back: returned.c asks for nothing else. */
bool wp_delivery_may(enum wp_delivery_state from, enum wp_delivery_state to);

/* A change asked for. */
struct wp_move {
    int64_t delivery;
    enum wp_delivery_state to;
    const char *reason; /* for a person; cleaned and cut to 240 bytes */
    enum wp_actor actor;
    int64_t actor_id;
};

/* Changes the state if the table allows it from where the delivery is now. A change that says
 * nothing new (same state, same reason) does nothing and is WP_OK. Leaving *sending*, *printing*
 * and *uncertain* ends lease, doubt and withdrawal. WP_CONFLICT: not allowed from its state.
 * WP_NOT_FOUND. Database errors. */
enum wp_status wp_delivery_move(struct wp_txn *txn, const struct wp_move *move);

/* The first event of a delivery whose row was just inserted, and the hook. */
enum wp_status wp_delivery_born(struct wp_txn *txn, int64_t delivery, enum wp_actor actor,
                                int64_t actor_id);

#endif
