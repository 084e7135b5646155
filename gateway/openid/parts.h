/* parts.h - what the files of the openid room share. */
#ifndef OPENID_PARTS_H
#define OPENID_PARTS_H

#include "base/bytes.h"
#include "base/http.h"
#include "openid/openid.h"

#define OPENID_TEXT 512
#define OPENID_DIGEST 48 /* base64url of a hash, with its zero byte */

struct wp_openid {
    struct wp_http *http;
    char issuer[OPENID_TEXT], client_id[OPENID_TEXT], client_secret[OPENID_TEXT];
    char redirect_uri[OPENID_TEXT], scope[OPENID_TEXT], claim[OPENID_TEXT];
    char algorithm[8];
    /* of the provider, as last fetched; steady clock, 0: never */
    char authorization[OPENID_TEXT], token[OPENID_TEXT], keys_uri[OPENID_TEXT];
    bool secret_in_body; /* it does not take HTTP Basic */
    int64_t found_us;
    char *keys;
    int64_t keys_us;
};

/* One sign-in's asking: what to do once what it needs is there. */
struct openid_op {
    struct wp_openid *openid;
    wp_openid_done done;
    void *arg;
    void (*then)(struct openid_op *op);
    char token[WP_TOKEN_ROOM];
    char code[OPENID_TEXT];
    char *id_token;
    struct wp_bytes body;
    char basic[4 * OPENID_TEXT]; /* the field Authorization; "": none */
};

/* Answers and frees. `why` for the log; NULL: nothing to say. */
void openid_end(struct openid_op *op, enum wp_status status, const char *text, const char *why);

/* provider.c: makes sure of the provider's addresses, or of its keys (`fresh`: asked anew, unless
 * that was done just now: then the op ends as denied), and goes on with op->then. */
void openid_with_addresses(struct openid_op *op, void (*then)(struct openid_op *op));
void openid_with_keys(struct openid_op *op, bool fresh, void (*then)(struct openid_op *op));

/* One GET or POST of at most 64 KiB; WP_OK is given to `done` for an answer of 200 alone. */
void openid_ask(struct openid_op *op, const char *url, bool post, wp_http_done done);

#endif
