/* openid/id_token.h - whether an ID token says what it must (OpenID Connect Core 1.0, 3.1.3.7).
 *
 * Pure; any thread. Signatures are checked by libcjose; the algorithm is the one that is configured
 * and no other, so that neither "none" nor an HMAC keyed with a public key passes (RFC 8725, 3.1
 * and 3.2).
 */
#ifndef OPENID_ID_TOKEN_H
#define OPENID_ID_TOKEN_H

#include <stdint.h>

#include "base/status.h"

struct wp_id_token_rules {
    const char *issuer;    /* must be "iss", byte for byte */
    const char *client_id; /* must be in "aud"; and "azp" where there is one */
    const char *algorithm; /* "RS256", "PS256" or "ES256" */
    const char *nonce;     /* must be "nonce" */
    const char *claim;     /* text claim that names the person; "email" counts only if verified */
};

/* Clocks may differ by this much. */
#define WP_ID_TOKEN_SKEW_S 60
/* A token older than this was not made for this sign-in. */
#define WP_ID_TOKEN_OLD_S 600

/* Checks signature and claims of `token` (RFC 7515 compact form) with the provider's keys (`keys`:
 * a JWK set, RFC 7517) at the time `now_us`, and copies the claim that names the person to `value`.
 * WP_NOT_FOUND: no key of the set has the token's key id, so the set may be old. WP_DENIED:
 * anything else is wrong, `error` says what for the log (never the token). WP_INVALID: the rules or
 * the set are not usable. WP_NO_MEMORY. */
enum wp_status wp_id_token_check(const struct wp_id_token_rules *rules, const char *keys,
                                 const char *token, int64_t now_us, char *value, size_t room,
                                 struct wp_error *error);

#endif
