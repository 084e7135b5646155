#include <stdio.h>
#include <string.h>

#include "http_parts.h"

#define MAIL_TIMEOUT_MS 60000
#define ADDRESS_ROOM 512

static size_t give_message(char *to, size_t size, size_t count, void *arg)
{
    struct call *call = arg;
    size_t left = call->message_size - call->message_sent;
    size_t some = size * count < left ? size * count : left;
    memcpy(to, call->message + call->message_sent, some);
    call->message_sent += some;
    return some;
}

/* Keeps the last reply that refused something: its text may hold the enhanced code of RFC 3463. */
static size_t keep_refusal(char *line, size_t size, size_t count, void *arg)
{
    struct call *call = arg;
    if (size * count > 0 && (line[0] == '4' || line[0] == '5')) {
        wp_bytes_clear(&call->answer);
        (void)wp_bytes_add(&call->answer, line, size * count);
    }
    return size * count;
}

/* An envelope address may not carry what would end the command or start another. */
static bool address_usable(const char *address)
{
    return address && *address && strlen(address) < ADDRESS_ROOM - 3 &&
           !strpbrk(address, "\r\n<> ");
}

static bool url_usable(const char *url)
{
    return url && (!strncmp(url, "smtp://", 7) || !strncmp(url, "smtps://", 8)) &&
           !strpbrk(url, "\r\n ");
}

static enum wp_status set_envelope(struct call *call, const struct wp_mail_request *request)
{
    char address[ADDRESS_ROOM];
    snprintf(address, sizeof address, "<%s>", request->to);
    call->recipients = curl_slist_append(NULL, address);
    if (!call->recipients)
        return WP_NO_MEMORY;
    curl_easy_setopt(call->easy, CURLOPT_MAIL_RCPT, call->recipients);
    snprintf(address, sizeof address, "<%s>", request->from);
    curl_easy_setopt(call->easy, CURLOPT_MAIL_FROM, address);
    return WP_OK;
}

enum wp_status wp_mail_send(struct wp_http *http, const struct wp_mail_request *request,
                            wp_http_done done, void *arg)
{
    if (http->closing || http->load >= MOST_CALLS)
        return WP_RETRY;
    if (!url_usable(request->url) || !address_usable(request->to) || !address_usable(request->from))
        return WP_INVALID;
    struct call *call = http_call_new(http, done, arg);
    if (!call)
        return WP_NO_MEMORY;
    call->mail = true;
    call->message = request->message;
    call->message_size = request->size;
    if (set_envelope(call, request)) {
        http_call_free(call);
        return WP_NO_MEMORY;
    }
    CURL *easy = call->easy;
    curl_easy_setopt(easy, CURLOPT_URL, request->url);
    curl_easy_setopt(easy, CURLOPT_PROTOCOLS_STR, "smtp,smtps");
    curl_easy_setopt(easy, CURLOPT_USE_SSL,
                     (long)(request->require_tls ? CURLUSESSL_ALL : CURLUSESSL_TRY));
    if (request->user) {
        curl_easy_setopt(easy, CURLOPT_USERNAME, request->user);
        curl_easy_setopt(easy, CURLOPT_PASSWORD, request->password ? request->password : "");
    }
    curl_easy_setopt(easy, CURLOPT_HEADERFUNCTION, keep_refusal);
    curl_easy_setopt(easy, CURLOPT_HEADERDATA, call);
    curl_easy_setopt(easy, CURLOPT_UPLOAD, 1L);
    curl_easy_setopt(easy, CURLOPT_READFUNCTION, give_message);
    curl_easy_setopt(easy, CURLOPT_READDATA, call);
    curl_easy_setopt(easy, CURLOPT_INFILESIZE_LARGE, (curl_off_t)request->size);
    curl_easy_setopt(easy, CURLOPT_CONNECTTIMEOUT_MS, 10000L);
    curl_easy_setopt(easy, CURLOPT_TIMEOUT_MS,
                     (long)(request->timeout_ms ? request->timeout_ms : MAIL_TIMEOUT_MS));
    return http_call_start(call);
}
