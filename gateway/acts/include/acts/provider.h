/* acts/provider.h - signing in through the site's OpenID Connect provider: what the database does.
 *
 * All are write jobs (wp_write_fn) but the last.
 */
#ifndef ACTS_PROVIDER_H
#define ACTS_PROVIDER_H

#include "acts/fleet_acts.h"
#include "base/secret.h"

#define WP_PROVIDER_LIFE (10 * WP_MINUTE)

struct wp_provider_try {
    char token[WP_TOKEN_ROOM]; /* begin: made; back: as the browser brought it */
    char address[64];
    char name[256]; /* success: as the provider calls the person */
    bool by_email;  /* success: it is a mail address, else a sign-in name */
    struct wp_error error;
};

/* Remembers a sign-in that begins. WP_RETRY: 300 an hour from one address, or 5,000 under way. */
enum wp_status wp_provider_begin(struct wp_txn *txn, void *job);

/* Uses it up when the browser comes back. WP_NOT_FOUND: not begun here, used, or too old. */
enum wp_status wp_provider_back(struct wp_txn *txn, void *job);

/* Opens a session for the one person of that name (letters' case aside); answers session_token.
 * WP_DENIED, with words: nobody has it, or several have that address. */
enum wp_status wp_provider_success(struct wp_txn *txn, struct wp_provider_try *job, cJSON **out);

#endif
