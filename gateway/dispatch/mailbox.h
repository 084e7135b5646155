/* dispatch/mailbox.h - reads the mailbox to which mail comes back. Private to dispatch.
 *
 * At an interval: how far the numbers reach (STATUS), which are new (SEARCH), each new message
 * (FETCH, its first FETCH_MOST bytes), what it means for a delivery together with the place in the
 * mailbox (one transaction), and, if it was nothing of ours, "not seen" again for whoever reads
 * that mailbox (STORE). Nothing is deleted. RFC 3501.
 *
 * Loop thread. `pending` counts what is still to answer, as the dispatcher's own jobs.
 */
#ifndef DISPATCH_MAILBOX_H
#define DISPATCH_MAILBOX_H

#include "dispatch/dispatch.h"

struct wp_mailbox;

/* NULL if out of memory. `options` is borrowed as long as it lives. */
struct wp_mailbox *wp_mailbox_new(struct wp_db *db, uv_loop_t *loop,
                                  const struct wp_mailbox_options *options, size_t *pending);
/* Begins a round when it is time. NULL is harmless. */
void wp_mailbox_tick(struct wp_mailbox *mailbox);
/* Ends what is under way; answers still come until `*pending` is back. NULL is harmless. */
void wp_mailbox_stop(struct wp_mailbox *mailbox);
/* After that. NULL is harmless. */
void wp_mailbox_free(struct wp_mailbox *mailbox);

#endif
