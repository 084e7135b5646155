#include <string.h>

#include "http_parts.h"

#define IMAP_TIMEOUT_MS 60000L

static bool url_usable(const char *url)
{
    return url && (!strncmp(url, "imap://", 7) || !strncmp(url, "imaps://", 8)) &&
           !strpbrk(url, "\r\n \"");
}

enum wp_status wp_imap_send(struct wp_http *http, const struct wp_imap_request *request,
                            wp_http_done done, void *arg)
{
    if (http->closing || http->load >= MOST_CALLS)
        return WP_RETRY;
    if (!url_usable(request->url) || (request->command && strpbrk(request->command, "\r\n")))
        return WP_INVALID;
    struct call *call = http_call_new(http, done, arg);
    if (!call)
        return WP_NO_MEMORY;
    call->mail = true;
    if (request->answer_most)
        call->answer.limit = request->answer_most;
    CURL *easy = call->easy;
    curl_easy_setopt(easy, CURLOPT_URL, request->url);
    curl_easy_setopt(easy, CURLOPT_PROTOCOLS_STR, "imap,imaps");
    curl_easy_setopt(easy, CURLOPT_USE_SSL,
                     (long)(request->require_tls ? CURLUSESSL_ALL : CURLUSESSL_TRY));
    if (request->user) {
        curl_easy_setopt(easy, CURLOPT_USERNAME, request->user);
        curl_easy_setopt(easy, CURLOPT_PASSWORD, request->password ? request->password : "");
    }
    if (request->command)
        curl_easy_setopt(easy, CURLOPT_CUSTOMREQUEST, request->command);
    curl_easy_setopt(easy, CURLOPT_CONNECTTIMEOUT_MS, 10000L);
    curl_easy_setopt(easy, CURLOPT_TIMEOUT_MS,
                     request->timeout_ms ? (long)request->timeout_ms : IMAP_TIMEOUT_MS);
    return http_call_start(call);
}
