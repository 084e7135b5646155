/* Connections and single requests over IPP. */
#include "ipp_parts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"
#include "base/digest.h"

static const char *no_password(const char *prompt, http_t *http, const char *method,
                               const char *resource, void *data)
{
    (void)prompt;
    (void)http;
    (void)method;
    (void)resource;
    (void)data;
    return NULL;
}

/* Called by libcups when a read or write has waited its time: gives up. */
static int give_up(http_t *http, void *data)
{
    (void)http;
    (void)data;
    return 0;
}

static bool split_uri(const char *uri, struct wp_ipp *ipp)
{
    char scheme[16];
    char user[64];
    http_uri_status_t status = httpSeparateURI(HTTP_URI_CODING_ALL, uri, scheme, sizeof scheme,
                                               user, sizeof user, ipp->host, sizeof ipp->host,
                                               &ipp->port, ipp->resource, sizeof ipp->resource);
    ipp->tls = strcmp(scheme, "ipps") == 0;
    return status >= HTTP_URI_STATUS_OK && (ipp->tls || strcmp(scheme, "ipp") == 0) &&
           user[0] == '\0' && ipp->host[0] != '\0' && ipp->port > 0 && ipp->port < 65536;
}

enum wp_status wp_ipp_check_uri(const char *uri, struct wp_error *error)
{
    struct wp_ipp parts;
    struct wp_ipp_target target;
    if (strlen(uri) < sizeof target.uri && split_uri(uri, &parts))
        return WP_OK;
    return wp_fail(error, WP_INVALID,
                   "A printer's address looks like ipp://host/ipp/print, ipps://... or "
                   "socket://host:9100.");
}

/* SHA-256 of the peer's own certificate. */
static bool peer_certificate(http_t *http, char hex[WP_CERTIFICATE_ROOM])
{
    cups_array_t *chain = NULL;
    bool known = false;
    unsigned char digest[WP_SHA256_SIZE];
    if (httpCopyCredentials(http, &chain) == 0 && chain != NULL) {
        http_credential_t *own = cupsArrayFirst(chain);
        known = own != NULL && wp_sha256(own->data, own->datalen, digest) == WP_OK;
    }
    httpFreeCredentials(chain);
    if (known)
        wp_hex_encode(digest, sizeof digest, hex);
    return known;
}

enum wp_status wp_ipp_check_peer(struct wp_ipp *ipp, struct wp_error *error)
{
    char seen[WP_CERTIFICATE_ROOM];
    if (!ipp->tls)
        return WP_OK;
    if (!peer_certificate(ipp->http, seen))
        return wp_fail(error, WP_DENIED, "shows no certificate");
    if (ipp->certificate[0] == '\0')
        memcpy(ipp->certificate, seen, sizeof seen);
    if (strcmp(ipp->certificate, seen) != 0)
        return wp_fail(error, WP_DENIED, "shows another certificate than before");
    return WP_OK;
}

static enum wp_status connect_to(struct wp_ipp *ipp, unsigned answer_ms, struct wp_error *error)
{
    cupsSetPasswordCB2(no_password, NULL);
    ipp->http =
        httpConnect2(ipp->host, ipp->port, NULL, AF_UNSPEC,
                     ipp->tls ? HTTP_ENCRYPTION_ALWAYS : HTTP_ENCRYPTION_IF_REQUESTED, 1, 0, NULL);
    if (ipp->http == NULL)
        return wp_fail(error, WP_RETRY, "cannot be reached");
    httpSetTimeout(ipp->http, answer_ms / 1000.0, give_up, NULL);
    if (httpReconnect2(ipp->http, (int)answer_ms, NULL) != 0)
        return wp_fail(error, WP_RETRY, "cannot be reached");
    return wp_ipp_check_peer(ipp, error);
}

enum wp_status wp_ipp_open(struct wp_ipp_target *target, struct wp_ipp **ipp,
                           struct wp_error *error)
{
    struct wp_ipp *made = calloc(1, sizeof *made);
    *ipp = NULL;
    if (made == NULL)
        return wp_fail(error, WP_NO_MEMORY, "could not be asked: no memory");
    enum wp_status status = WP_OK;
    memcpy(made->uri, target->uri, sizeof made->uri);
    memcpy(made->certificate, target->certificate, sizeof made->certificate);
    if (!split_uri(target->uri, made))
        status = wp_fail(error, WP_INVALID, "has an address that is none");
    if (!status)
        status = connect_to(made, target->answer_ms, error);
    if (status) {
        wp_ipp_close(made);
        return status;
    }
    memcpy(target->certificate, made->certificate, sizeof target->certificate);
    *ipp = made;
    return WP_OK;
}

void wp_ipp_close(struct wp_ipp *ipp)
{
    if (ipp == NULL)
        return;
    httpClose(ipp->http);
    free(ipp);
}

ipp_t *wp_ipp_request(struct wp_ipp *ipp, ipp_op_t operation)
{
    ipp_t *request = ippNewRequest(operation);
    if (request == NULL)
        return NULL;
    ippAddString(request, IPP_TAG_OPERATION, IPP_TAG_URI, "printer-uri", NULL, ipp->uri);
    return request;
}

void wp_ipp_request_user(ipp_t *request)
{
    ippAddString(request, IPP_TAG_OPERATION, IPP_TAG_NAME, "requesting-user-name", NULL,
                 "wavepost");
}

static enum wp_status judge_answer(ipp_t *answer, struct wp_error *error)
{
    ipp_status_t code = ippGetStatusCode(answer);
    if (code < IPP_STATUS_ERROR_BAD_REQUEST)
        return WP_OK;
    if (code == IPP_STATUS_ERROR_BUSY || code == IPP_STATUS_ERROR_NOT_ACCEPTING_JOBS ||
        code == IPP_STATUS_ERROR_TEMPORARY || code == IPP_STATUS_ERROR_TOO_MANY_JOBS)
        return wp_fail(error, WP_CONFLICT, "is busy");
    if (code == IPP_STATUS_ERROR_NOT_FOUND)
        return wp_fail(error, WP_NOT_FOUND, "has no such job");
    if (code == IPP_STATUS_ERROR_NOT_AUTHENTICATED || code == IPP_STATUS_ERROR_NOT_AUTHORIZED ||
        code == IPP_STATUS_ERROR_FORBIDDEN)
        return wp_fail(error, WP_DENIED, "does not let the gateway in");
    ipp_attribute_t *text = ippFindAttribute(answer, "status-message", IPP_TAG_TEXT);
    char clean[160];
    const char *said = text != NULL ? ippGetString(text, 0, NULL) : NULL;
    if (said == NULL)
        said = ippErrorString(code);
    wp_text_clean(said, strlen(said), clean, sizeof clean);
    size_t size = strlen(clean);
    if (size > 0 && clean[size - 1] == '.')
        clean[size - 1] = '\0';
    return wp_fail(error, WP_IO, "refuses: %s", clean);
}

/* Sends the request's data; the answer may come before its end. */
static bool write_data(http_t *http, const char *data, size_t size)
{
    enum { PIECE = 65536 };
    for (size_t at = 0; at < size; at += PIECE) {
        size_t take = size - at < PIECE ? size - at : PIECE;
        if (cupsWriteRequestData(http, data + at, take) != HTTP_STATUS_CONTINUE)
            return false;
    }
    return true;
}

/* Once and once only: libcups' own loops would send a document again after a broken connection. */
enum wp_status wp_ipp_exchange(struct wp_ipp *ipp, ipp_t *request, const void *data, size_t size,
                               ipp_t **answer, struct wp_error *error)
{
    *answer = NULL;
    if (request == NULL)
        return wp_fail(error, WP_NO_MEMORY, "could not be asked: no memory");
    http_status_t sent =
        cupsSendRequest(ipp->http, request, ipp->resource, ippLength(request) + size);
    ippDelete(request);
    if (sent != HTTP_STATUS_CONTINUE && sent != HTTP_STATUS_OK)
        return wp_fail(error, sent == HTTP_STATUS_UNAUTHORIZED ? WP_DENIED : WP_RETRY, "%s",
                       sent == HTTP_STATUS_UNAUTHORIZED ? "wants a password" : "does not answer");
    enum wp_status status = wp_ipp_check_peer(ipp, error);
    if (status)
        return status;
    bool whole = size == 0 || write_data(ipp->http, data, size);
    *answer = cupsGetResponse(ipp->http, ipp->resource);
    if (*answer == NULL)
        return wp_fail(error, WP_RETRY, "does not answer");
    status = judge_answer(*answer, error);
    return status || whole ? status : wp_fail(error, WP_RETRY, "broke off");
}
