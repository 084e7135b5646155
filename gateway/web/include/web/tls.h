/* web/tls.h - the gateway's certificate and key.
 *
 * At first start a P-256 key and a self-signed certificate are made in DIR/tls/ (key.pem, mode
 * 0600, and cert.pem); agents trust its public key by the pin in their join string. A site with a
 * certificate of its own names both files in the configuration.
 *
 * Thread: any; nothing is kept.
 */
#ifndef WEB_TLS_H
#define WEB_TLS_H

#include <stdbool.h>

#include "base/status.h"

#define WP_TLS_PIN_ROOM 48
#define WP_TLS_PEM_MOST (256 * 1024)

struct wp_tls {
    char *certificate; /* PEM, the whole chain */
    char *key;         /* PEM */
    bool own;          /* made by the gateway itself */
};

/* Loads DIR/tls/cert.pem and key.pem, making both if neither exists. `host` becomes a name in a new
 * certificate beside the machine's own names and loopback. WP_IO; WP_INVALID: not PEM, or the key
 * does not belong to the certificate. */
enum wp_status wp_tls_own(const char *folder, const char *host, struct wp_tls *tls,
                          struct wp_error *error);

/* Loads a configured pair of PEM files. Errors as above. */
enum wp_status wp_tls_load(const char *certificate_path, const char *key_path, struct wp_tls *tls,
                           struct wp_error *error);

/* The pin of the first certificate: base64url without padding (RFC 4648) of SHA-256 over its
 * SubjectPublicKeyInfo, 43 characters (the digest of RFC 7469). WP_INVALID if it is no PEM
 * certificate. */
enum wp_status wp_tls_pin(const char *certificate_pem, char pin[WP_TLS_PIN_ROOM],
                          struct wp_error *error);

/* Frees both texts; the key's is overwritten first. Harmless on a zeroed one. */
void wp_tls_release(struct wp_tls *tls);

#endif
