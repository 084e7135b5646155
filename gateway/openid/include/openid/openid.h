/* openid/openid.h - signing in through the site's OpenID Connect provider.
 *
 * Authorization code flow with PKCE (OpenID Connect Core 1.0, 3.1; RFC 7636, S256). One random
 * token a sign-in, kept by the browser in a cookie and by us as a hash, stands behind all three of
 * state, nonce and code verifier: each is a hash of it under a name of its own, so nothing secret
 * is stored, and none of them tells another.
 *
 * The provider's discovery document and keys are fetched over verified TLS, at most 64 KiB each,
 * without following redirects, and kept for an hour; a token signed by an unknown key has them
 * fetched again, at most once in five seconds.
 *
 * Thread: the loop's.
 */
#ifndef OPENID_OPENID_H
#define OPENID_OPENID_H

#include <uv.h>

#include "base/secret.h"
#include "base/status.h"

struct wp_openid;

/* All texts are copied. */
struct wp_openid_options {
    const char *issuer;        /* https://..., as the provider writes it */
    const char *client_id;     /* ours at the provider */
    const char *client_secret; /* "": a public client, which has none */
    const char *redirect_uri;  /* where the provider sends browsers back */
    const char *scope;         /* "openid profile email" */
    const char *claim;         /* names the person */
    const char *algorithm;     /* signs the tokens: "RS256", "PS256", "ES256" */
    const char *ca_file;       /* PEM of trusted roots; "": the system's */
};

/* WP_INVALID: issuer not https, an empty client id, an unknown algorithm, a text beyond 500 bytes.
 * WP_NO_MEMORY. Asks the provider nothing yet. */
enum wp_status wp_openid_new(uv_loop_t *loop, const struct wp_openid_options *options,
                             struct wp_openid **openid, struct wp_error *error);

/* What came of it. WP_OK: `text` is the address to send the browser to, or the person's name at the
 * provider. WP_RETRY: the provider did not answer, or too much at once. WP_DENIED: what it sent is
 * wrong; the reason is in the log. `text` is borrowed, and "" after a failure. */
typedef void (*wp_openid_done)(void *arg, enum wp_status status, const char *text);

/* Where a browser that holds `token` signs in. `done` is called once, later or from within. */
void wp_openid_begin(struct wp_openid *openid, const char *token, wp_openid_done done, void *arg);

/* True if `state` came back to the browser that holds `token`. */
bool wp_openid_state_is(const char *token, const char *state);

/* Changes the code for an ID token, checks it (openid/id_token.h), and tells who it is. */
void wp_openid_finish(struct wp_openid *openid, const char *token, const char *code,
                      wp_openid_done done, void *arg);

/* True if `issuer` (NULL: not said) is ours, as an answer may name it (RFC 9207). */
bool wp_openid_issuer_is(const struct wp_openid *openid, const char *issuer);

/* Ends what is under way: each done is called with WP_RETRY. NULL is harmless. */
void wp_openid_free(struct wp_openid *openid);

#endif
