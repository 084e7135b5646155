/* acts/site.h - what acts must know of the site and do not find in their request.
 *
 * Filled once at start, read by every thread afterwards.
 */
#ifndef ACTS_SITE_H
#define ACTS_SITE_H

#include <stdint.h>

#include "base/secret.h"
#include "store/store.h"

struct wp_site {
    char public_url[256]; /* "https://host:port", for join strings, mails and sheets */
    char pin[64];         /* of the gateway's own certificate; "" when another one is configured */
    struct wp_store *store;
    int64_t change_us;  /* exports this close to a change of turns are asked about */
    int64_t silence_us; /* a turn silent for this long is asked about */
    unsigned char bench_key[WP_KEY_SIZE]; /* of cards, PINs and passes */
    int64_t open_us; /* an untouched measurement is kept, not printed, after this */
};
extern struct wp_site wp_site;

#endif
