/* What the provider publishes: its addresses (OpenID Connect Discovery 1.0) and its keys. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cjson/cJSON.h>

#include "base/clock.h"
#include "base/log.h"
#include "parts.h"

#define ANSWER_MOST ((size_t)64 * 1024)
#define ASK_MS 8000
#define GOOD_FOR WP_HOUR
#define NOT_AGAIN (5 * WP_SECOND)

static bool fresh(int64_t at, int64_t span)
{
    return at && wp_clock_steady() - at < span;
}

/* What a failed asking was, for the log. */
static bool failed(struct openid_op *op, const struct wp_http_answer *answer, const char *what)
{
    char why[WP_ERROR_TEXT + 64];
    if (answer->status == WP_OK && answer->code == 200)
        return false;
    if (answer->status)
        (void)snprintf(why, sizeof why, "%s: %s", what, answer->error.text);
    else
        (void)snprintf(why, sizeof why, "%s: the provider answered %ld", what, answer->code);
    openid_end(op, WP_RETRY, "", why);
    return true;
}

static bool take_url(const cJSON *json, const char *name, char *out)
{
    const char *url = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(json, name));
    if (!url || strncmp(url, "https://", 8) != 0 || strlen(url) >= OPENID_TEXT ||
        strpbrk(url, " \r\n\"#"))
        return false;
    wp_text_copy(out, OPENID_TEXT, url);
    return true;
}

static bool lists(const cJSON *json, const char *name, const char *wanted)
{
    const cJSON *one = NULL;
    cJSON_ArrayForEach(one, cJSON_GetObjectItemCaseSensitive(json, name))
    {
        if (cJSON_IsString(one) && !strcmp(one->valuestring, wanted))
            return true;
    }
    return false;
}

static const char *read_addresses(struct wp_openid *openid, const cJSON *json)
{
    const char *issuer = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(json, "issuer"));
    bool signs = lists(json, "id_token_signing_alg_values_supported", openid->algorithm);
    /* RFC 8414, 2: without a list it is Basic. */
    openid->secret_in_body =
        lists(json, "token_endpoint_auth_methods_supported", "client_secret_post") &&
        !lists(json, "token_endpoint_auth_methods_supported", "client_secret_basic");
    if (!issuer || strcmp(issuer, openid->issuer) != 0)
        return "discovery: the issuer is another than the configured one";
    if (!signs)
        return "discovery: the provider does not sign with the configured algorithm";
    if (!take_url(json, "authorization_endpoint", openid->authorization) ||
        !take_url(json, "token_endpoint", openid->token) ||
        !take_url(json, "jwks_uri", openid->keys_uri))
        return "discovery: an address is missing or not https";
    openid->found_us = wp_clock_steady();
    return NULL;
}

static void found(void *arg, const struct wp_http_answer *answer)
{
    struct openid_op *op = arg;
    if (failed(op, answer, "discovery"))
        return;
    cJSON *json = cJSON_ParseWithLength(answer->body, answer->size);
    const char *wrong = read_addresses(op->openid, json);
    cJSON_Delete(json);
    if (wrong)
        openid_end(op, WP_DENIED, "", wrong);
    else
        op->then(op);
}

void openid_ask(struct openid_op *op, const char *url, bool post, wp_http_done done)
{
    const char *const form[] = {"Accept: application/json",
                                "Content-Type: application/x-www-form-urlencoded",
                                op->basic[0] ? op->basic : NULL, NULL};
    static const char *const plain[] = {"Accept: application/json", NULL};
    struct wp_http_request request = {.method = post ? "POST" : "GET",
                                      .url = url,
                                      .headers = post ? form : plain,
                                      .body = post ? op->body.data : NULL,
                                      .size = post ? op->body.size : 0,
                                      .answer_most = ANSWER_MOST,
                                      .timeout_ms = ASK_MS,
                                      .connect_ms = ASK_MS};
    enum wp_status status = wp_http_send(op->openid->http, &request, done, op);
    if (status)
        openid_end(op, WP_RETRY, "", wp_status_name(status));
}

void openid_with_addresses(struct openid_op *op, void (*then)(struct openid_op *op))
{
    char url[OPENID_TEXT + 64];
    if (fresh(op->openid->found_us, GOOD_FOR)) {
        then(op);
        return;
    }
    op->then = then;
    /* Discovery 1.0, 4.1: a slash at the issuer's end is left out. */
    size_t length = strlen(op->openid->issuer);
    length -= op->openid->issuer[length - 1] == '/';
    (void)snprintf(url, sizeof url, "%.*s/.well-known/openid-configuration", (int)length,
                   op->openid->issuer);
    openid_ask(op, url, false, found);
}

static void got_keys(void *arg, const struct wp_http_answer *answer)
{
    struct openid_op *op = arg;
    if (failed(op, answer, "keys"))
        return;
    char *copy = strdup(answer->body);
    if (!copy) {
        openid_end(op, WP_RETRY, "", "keys: no memory");
        return;
    }
    free(op->openid->keys);
    op->openid->keys = copy;
    op->openid->keys_us = wp_clock_steady();
    op->then(op);
}

void openid_with_keys(struct openid_op *op, bool anew, void (*then)(struct openid_op *op))
{
    struct wp_openid *openid = op->openid;
    if (!anew && openid->keys && fresh(openid->keys_us, GOOD_FOR)) {
        then(op);
    } else if (anew && fresh(openid->keys_us, NOT_AGAIN)) {
        openid_end(op, WP_DENIED, "", "the provider has no key that fits the token");
    } else {
        op->then = then;
        openid_ask(op, openid->keys_uri, false, got_keys);
    }
}
