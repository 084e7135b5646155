/* signed_in.h - the end of every way of signing in. Private to acts. */
#ifndef ACTS_SIGNED_IN_H
#define ACTS_SIGNED_IN_H

#include "people/ask.h"

/* Opens a session; answers who one is (views/lists.h, wp_view_me) and session_token, which becomes
 * the cookie. Inside write jobs; database errors. */
enum wp_status wp_signed_in(struct wp_txn *txn, int64_t person, cJSON **out);

#endif
