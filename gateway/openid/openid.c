#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cjson/cJSON.h>
#include <sodium.h>

#include "base/clock.h"
#include "base/log.h"
#include "openid/id_token.h"
#include "parts.h"

#define URL_MOST ((size_t)8 * 1024)
#define VALUE_MOST 256

/* ---- texts ---- */

static void encode(const void *data, size_t size, char *out, size_t room)
{
    (void)sodium_bin2base64(out, room, data, size, sodium_base64_VARIANT_URLSAFE_NO_PADDING);
}

/* A value of its own for each use of the browser's token. */
static void derive(const char *token, const char *use, char out[OPENID_DIGEST])
{
    char seed[WP_TOKEN_ROOM + 32];
    unsigned char hash[WP_HASH_SIZE];
    (void)snprintf(seed, sizeof seed, "%s:%.47s", use, token);
    wp_token_hash(seed, hash);
    encode(hash, sizeof hash, out, OPENID_DIGEST);
}

/* RFC 7636, 4.2: SHA-256 of the verifier. */
static void challenge(const char *token, char out[OPENID_DIGEST])
{
    char verifier[OPENID_DIGEST];
    unsigned char hash[crypto_hash_sha256_BYTES];
    derive(token, "verifier", verifier);
    (void)crypto_hash_sha256(hash, (const unsigned char *)verifier, strlen(verifier));
    encode(hash, sizeof hash, out, OPENID_DIGEST);
}

static void add_encoded(struct wp_bytes *bytes, const char *value)
{
    for (const unsigned char *c = (const unsigned char *)value; *c; c++) {
        bool plain = (*c >= 'a' && *c <= 'z') || (*c >= 'A' && *c <= 'Z') ||
                     (*c >= '0' && *c <= '9') || strchr("-._~", *c);
        (void)(plain ? wp_bytes_add_byte(bytes, (char)*c) : wp_bytes_addf(bytes, "%%%02X", *c));
    }
}

/* `before`, which is "&" but for the first, and "name=value" in percent-encoding. */
static void add_field(struct wp_bytes *bytes, const char *before, const char *name,
                      const char *value)
{
    (void)wp_bytes_addf(bytes, "%s%s=", before, name);
    add_encoded(bytes, value);
}

/* ---- one asking ---- */

static struct openid_op *new_op(struct wp_openid *openid, const char *token, wp_openid_done done,
                                void *arg)
{
    struct openid_op *op = calloc(1, sizeof *op);
    if (!op) {
        done(arg, WP_RETRY, "");
        return NULL;
    }
    op->openid = openid;
    op->done = done;
    op->arg = arg;
    wp_text_copy(op->token, sizeof op->token, token);
    wp_bytes_init(&op->body, URL_MOST);
    return op;
}

void openid_end(struct openid_op *op, enum wp_status status, const char *text, const char *why)
{
    if (why)
        wp_log(WP_LOG_WARN, "openid", "%s", why);
    op->done(op->arg, status, status ? "" : text);
    if (op->id_token)
        sodium_memzero(op->id_token, strlen(op->id_token));
    free(op->id_token);
    wp_bytes_release(&op->body);
    sodium_memzero(op, sizeof *op);
    free(op);
}

static void go_there(struct openid_op *op)
{
    const struct wp_openid *openid = op->openid;
    char state[OPENID_DIGEST], nonce[OPENID_DIGEST], hidden[OPENID_DIGEST];
    derive(op->token, "state", state);
    derive(op->token, "nonce", nonce);
    challenge(op->token, hidden);
    struct wp_bytes *url = &op->body;
    (void)wp_bytes_add_text(url, openid->authorization);
    add_field(url, strchr(openid->authorization, '?') ? "&" : "?", "response_type", "code");
    add_field(url, "&", "client_id", openid->client_id);
    add_field(url, "&", "redirect_uri", openid->redirect_uri);
    add_field(url, "&", "scope", openid->scope);
    add_field(url, "&", "state", state);
    add_field(url, "&", "nonce", nonce);
    add_field(url, "&", "code_challenge", hidden);
    add_field(url, "&", "code_challenge_method", "S256");
    openid_end(op, WP_OK, url->data, NULL);
}

void wp_openid_begin(struct wp_openid *openid, const char *token, wp_openid_done done, void *arg)
{
    struct openid_op *op = new_op(openid, token, done, arg);
    if (op)
        openid_with_addresses(op, go_there);
}

bool wp_openid_state_is(const char *token, const char *state)
{
    char wanted[OPENID_DIGEST];
    derive(token, "state", wanted);
    return strlen(state) == strlen(wanted) && wp_equal(state, wanted, strlen(wanted));
}

bool wp_openid_issuer_is(const struct wp_openid *openid, const char *issuer)
{
    return !issuer || !strcmp(issuer, openid->issuer);
}

/* ---- the code for a token, the token for a person ---- */

static void check(struct openid_op *op);

static void check_anew(struct openid_op *op)
{
    openid_with_keys(op, true, check);
}

static void check(struct openid_op *op)
{
    const struct wp_openid *openid = op->openid;
    char nonce[OPENID_DIGEST], value[VALUE_MOST] = "";
    struct wp_error error = {0};
    derive(op->token, "nonce", nonce);
    struct wp_id_token_rules rules = {.issuer = openid->issuer,
                                      .client_id = openid->client_id,
                                      .algorithm = openid->algorithm,
                                      .nonce = nonce,
                                      .claim = openid->claim};
    enum wp_status status = wp_id_token_check(&rules, openid->keys, op->id_token, wp_clock_utc(),
                                              value, sizeof value, &error);
    if (status == WP_NOT_FOUND)
        check_anew(op);
    else
        openid_end(op, status ? WP_DENIED : WP_OK, value, status ? error.text : NULL);
}

static void got_token(void *arg, const struct wp_http_answer *answer)
{
    struct openid_op *op = arg;
    cJSON *json = answer->status ? NULL : cJSON_ParseWithLength(answer->body, answer->size);
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(json, "id_token"));
    op->id_token = text && answer->code == 200 ? strdup(text) : NULL;
    cJSON_Delete(json);
    if (op->id_token)
        openid_with_keys(op, false, check);
    else if (answer->status)
        openid_end(op, WP_RETRY, "", answer->error.text);
    else
        openid_end(op, WP_DENIED, "", "the provider did not change the code for a token");
}

/* RFC 6749, 2.3.1: both in percent-encoding, then HTTP Basic. A pair that does not fit, the
 * provider refuses. */
static void prove_client(struct openid_op *op)
{
    struct wp_bytes pair;
    wp_bytes_init(&pair, (size_t)OPENID_TEXT * 3);
    add_encoded(&pair, op->openid->client_id);
    (void)wp_bytes_add_byte(&pair, ':');
    add_encoded(&pair, op->openid->client_secret);
    static const char scheme[] = "Authorization: Basic ";
    size_t used = sizeof scheme - 1;
    if (pair.data && sodium_base64_ENCODED_LEN(pair.size, sodium_base64_VARIANT_ORIGINAL) <
                         sizeof op->basic - used) {
        memcpy(op->basic, scheme, sizeof scheme);
        (void)sodium_bin2base64(op->basic + used, sizeof op->basic - used,
                                (const unsigned char *)pair.data, pair.size,
                                sodium_base64_VARIANT_ORIGINAL);
    }
    wp_bytes_release(&pair);
}

static void change_code(struct openid_op *op)
{
    const struct wp_openid *openid = op->openid;
    char verifier[OPENID_DIGEST];
    derive(op->token, "verifier", verifier);
    struct wp_bytes *body = &op->body;
    add_field(body, "", "grant_type", "authorization_code");
    add_field(body, "&", "code", op->code);
    add_field(body, "&", "redirect_uri", openid->redirect_uri);
    add_field(body, "&", "code_verifier", verifier);
    if (openid->client_secret[0] && !openid->secret_in_body) {
        prove_client(op);
    } else {
        add_field(body, "&", "client_id", openid->client_id);
        if (openid->client_secret[0])
            add_field(body, "&", "client_secret", openid->client_secret);
    }
    openid_ask(op, openid->token, true, got_token);
}

void wp_openid_finish(struct wp_openid *openid, const char *token, const char *code,
                      wp_openid_done done, void *arg)
{
    struct openid_op *op = new_op(openid, token, done, arg);
    if (!op)
        return;
    wp_text_copy(op->code, sizeof op->code, code);
    openid_with_addresses(op, change_code);
}

/* ---- making one ---- */

static bool copy(char *out, const char *text)
{
    wp_text_copy(out, OPENID_TEXT, text);
    return text && strlen(text) < OPENID_TEXT;
}

static bool known_algorithm(const char *name)
{
    return !strcmp(name, "RS256") || !strcmp(name, "PS256") || !strcmp(name, "ES256");
}

static enum wp_status fill(struct wp_openid *openid, const struct wp_openid_options *options,
                           struct wp_error *error)
{
    bool fits = copy(openid->issuer, options->issuer) &&
                copy(openid->client_id, options->client_id) &&
                copy(openid->client_secret, options->client_secret) &&
                copy(openid->redirect_uri, options->redirect_uri) &&
                copy(openid->scope, options->scope) && copy(openid->claim, options->claim);
    if (!fits || strncmp(openid->issuer, "https://", 8) != 0)
        return wp_fail(error, WP_INVALID, "[openid] issuer must be an https address.");
    if (!openid->client_id[0] || !openid->claim[0])
        return wp_fail(error, WP_INVALID, "[openid] client_id or claim is empty.");
    if (!known_algorithm(options->algorithm))
        return wp_fail(error, WP_INVALID, "[openid] algorithm is one of RS256, PS256, ES256.");
    wp_text_copy(openid->algorithm, sizeof openid->algorithm, options->algorithm);
    return WP_OK;
}

enum wp_status wp_openid_new(uv_loop_t *loop, const struct wp_openid_options *options,
                             struct wp_openid **openid, struct wp_error *error)
{
    *openid = NULL;
    struct wp_openid *made = calloc(1, sizeof *made);
    if (!made)
        return wp_fail(error, WP_NO_MEMORY, "No memory for signing in by the provider.");
    struct wp_http_options http = {.ca_file = options->ca_file[0] ? options->ca_file : NULL};
    enum wp_status status = fill(made, options, error);
    if (!status) {
        made->http = wp_http_new(loop, &http);
        if (!made->http)
            status = wp_fail(error, WP_NO_MEMORY, "No memory for signing in by the provider.");
    }
    if (status)
        wp_openid_free(made);
    else
        *openid = made;
    return status;
}

void wp_openid_free(struct wp_openid *openid)
{
    if (!openid)
        return;
    if (openid->http)
        wp_http_free(openid->http);
    free(openid->keys);
    sodium_memzero(openid->client_secret, sizeof openid->client_secret);
    free(openid);
}
