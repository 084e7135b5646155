#include "openid/id_token.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cjose/cjose.h>
#include <cjson/cJSON.h>

#define TOKEN_MOST ((size_t)16 * 1024)
#define KEYS_MOST 16
/* Base64url letters of a modulus of 2048 bits: fewer is too short a key (RFC 7518, 3.3). */
#define MODULUS_LEAST 342

static const struct {
    const char *name, *key_type;
} algorithms[] = {{"RS256", "RSA"}, {"PS256", "RSA"}, {"ES256", "EC"}};

static const char *key_type_of(const char *algorithm)
{
    for (size_t i = 0; i < sizeof algorithms / sizeof algorithms[0]; i++)
        if (!strcmp(algorithms[i].name, algorithm))
            return algorithms[i].key_type;
    return NULL;
}

static const char *text_of(const cJSON *json, const char *name)
{
    return cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(json, name));
}

static bool is_text(const cJSON *json, const char *name, const char *wanted)
{
    const char *text = text_of(json, name);
    return text && !strcmp(text, wanted);
}

/* ---- the signature ---- */

/* A key that may have made it: of the right kind, for signatures, not too short. */
static bool may_verify(const cJSON *key, const char *algorithm)
{
    const char *use = text_of(key, "use"), *own = text_of(key, "alg"), *n = text_of(key, "n");
    const char *type = key_type_of(algorithm);
    if (!is_text(key, "kty", type) || (use && strcmp(use, "sig") != 0) ||
        (own && strcmp(own, algorithm) != 0))
        return false;
    return !strcmp(type, "EC") ? is_text(key, "crv", "P-256") : n && strlen(n) >= MODULUS_LEAST;
}

static bool verify_by(cjose_jws_t *jws, const cJSON *key)
{
    cjose_err trouble;
    char *text = cJSON_PrintUnformatted(key);
    cjose_jwk_t *jwk = text ? cjose_jwk_import(text, strlen(text), &trouble) : NULL;
    bool good = jwk && cjose_jws_verify(jws, jwk, &trouble);
    if (jwk)
        (void)cjose_jwk_release(jwk);
    cJSON_free(text);
    return good;
}

static enum wp_status verify(cjose_jws_t *jws, const char *key_id, const char *algorithm,
                             const cJSON *keys, struct wp_error *error)
{
    size_t tried = 0;
    const cJSON *key = NULL;
    cJSON_ArrayForEach(key, cJSON_GetObjectItemCaseSensitive(keys, "keys"))
    {
        if (!may_verify(key, algorithm) || (key_id && !is_text(key, "kid", key_id)))
            continue;
        if (++tried > KEYS_MOST)
            break;
        if (verify_by(jws, key))
            return WP_OK;
    }
    if (!tried)
        return wp_fail(error, WP_NOT_FOUND, "the provider has no key that fits the token");
    return wp_fail(error, WP_DENIED, "the token's signature is wrong");
}

/* The header must name our algorithm and ask for nothing that we do not understand. */
static enum wp_status check_signature(cjose_jws_t *jws, const char *algorithm, const cJSON *keys,
                                      struct wp_error *error)
{
    cjose_err trouble;
    cjose_header_t *header = cjose_jws_get_protected(jws);
    const char *named = cjose_header_get(header, CJOSE_HDR_ALG, &trouble);
    if (!named || strcmp(named, algorithm) != 0)
        return wp_fail(error, WP_DENIED, "the token is not signed with %s", algorithm);
    char *critical = cjose_header_get_raw(header, "crit", &trouble);
    bool asks = critical != NULL;
    free(critical);
    if (asks)
        return wp_fail(error, WP_DENIED, "the token's header asks for what is not understood");
    return verify(jws, cjose_header_get(header, CJOSE_HDR_KID, &trouble), algorithm, keys, error);
}

/* ---- the claims ---- */

static bool for_us(const cJSON *claims, const char *client)
{
    const cJSON *audience = cJSON_GetObjectItemCaseSensitive(claims, "aud"), *one = NULL;
    const char *party = text_of(claims, "azp");
    bool named = cJSON_IsString(audience) && !strcmp(audience->valuestring, client);
    cJSON_ArrayForEach(one, audience)
    {
        if (cJSON_IsArray(audience) && cJSON_IsString(one) && !strcmp(one->valuestring, client))
            named = true;
    }
    bool several = cJSON_IsArray(audience) && cJSON_GetArraySize(audience) > 1;
    return named && (party ? !strcmp(party, client) : !several);
}

static bool number_of(const cJSON *claims, const char *name, double *value)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(claims, name);
    if (!cJSON_IsNumber(item))
        return false;
    *value = item->valuedouble;
    return true;
}

static enum wp_status check_times(const cJSON *claims, double now, struct wp_error *error)
{
    double expires = 0, issued = 0, not_before = 0;
    if (!number_of(claims, "exp", &expires) || !number_of(claims, "iat", &issued))
        return wp_fail(error, WP_DENIED, "the token does not say from when to when it is good");
    if (expires + WP_ID_TOKEN_SKEW_S <= now)
        return wp_fail(error, WP_DENIED, "the token is too old");
    if (issued - WP_ID_TOKEN_SKEW_S > now || issued + WP_ID_TOKEN_OLD_S < now)
        return wp_fail(error, WP_DENIED, "the token was not made just now");
    if (number_of(claims, "nbf", &not_before) && not_before - WP_ID_TOKEN_SKEW_S > now)
        return wp_fail(error, WP_DENIED, "the token is not good yet");
    return WP_OK;
}

static enum wp_status take_claim(const cJSON *claims, const char *name, char *value, size_t room,
                                 struct wp_error *error)
{
    const char *text = text_of(claims, name);
    if (!text || !*text || strlen(text) >= room)
        return wp_fail(error, WP_DENIED, "the token has no claim \"%.40s\"", name);
    if (!strcmp(name, "email") &&
        !cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(claims, "email_verified")))
        return wp_fail(error, WP_DENIED, "the provider has not verified the mail address");
    (void)snprintf(value, room, "%s", text);
    return WP_OK;
}

static enum wp_status check_claims(const struct wp_id_token_rules *rules, const cJSON *claims,
                                   double now, struct wp_error *error)
{
    if (!cJSON_IsObject(claims))
        return wp_fail(error, WP_DENIED, "the token holds no claims");
    if (!is_text(claims, "iss", rules->issuer))
        return wp_fail(error, WP_DENIED, "the token is of another issuer");
    if (!for_us(claims, rules->client_id))
        return wp_fail(error, WP_DENIED, "the token is for somebody else");
    if (!is_text(claims, "nonce", rules->nonce))
        return wp_fail(error, WP_DENIED, "the token was made for another sign-in");
    return check_times(claims, now, error);
}

static enum wp_status check_token(const struct wp_id_token_rules *rules, const cJSON *keys,
                                  cjose_jws_t *jws, double now, char *value, size_t room,
                                  struct wp_error *error)
{
    cjose_err trouble;
    uint8_t *text = NULL; /* the token's own */
    size_t size = 0;
    enum wp_status status = check_signature(jws, rules->algorithm, keys, error);
    if (status)
        return status;
    if (!cjose_jws_get_plaintext(jws, &text, &size, &trouble))
        return wp_fail(error, WP_DENIED, "the token is empty");
    cJSON *claims = cJSON_ParseWithLength((const char *)text, size);
    status = check_claims(rules, claims, now, error);
    if (!status)
        status = take_claim(claims, rules->claim, value, room, error);
    cJSON_Delete(claims);
    return status;
}

enum wp_status wp_id_token_check(const struct wp_id_token_rules *rules, const char *keys,
                                 const char *token, int64_t now_us, char *value, size_t room,
                                 struct wp_error *error)
{
    cjose_err trouble;
    if (!key_type_of(rules->algorithm))
        return wp_fail(error, WP_INVALID, "the algorithm is not one of RS256, PS256, ES256");
    cJSON *set = cJSON_Parse(keys);
    if (!cJSON_IsArray(cJSON_GetObjectItemCaseSensitive(set, "keys"))) {
        cJSON_Delete(set);
        return wp_fail(error, WP_INVALID, "the provider's keys are no key set");
    }
    size_t size = strlen(token);
    cjose_jws_t *jws = size <= TOKEN_MOST ? cjose_jws_import(token, size, &trouble) : NULL;
    enum wp_status status =
        jws ? check_token(rules, set, jws, (double)now_us / 1e6, value, room, error)
            : wp_fail(error, WP_DENIED, "the token is malformed");
    if (jws)
        cjose_jws_release(jws);
    cJSON_Delete(set);
    return status;
}
