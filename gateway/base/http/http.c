#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "http_parts.h"

#define ANSWER_MOST (1024 * 1024)
#define TIMEOUT_MS 30000
#define CONNECT_MS 10000
/* A peer that moves less than one byte a second for a minute is gone, however long the whole
 * request may take. */
#define STALL_S 60L

static bool copy(char **to, const char *from)
{
    *to = from ? strdup(from) : NULL;
    return !from || *to;
}

struct wp_http *wp_http_new(uv_loop_t *loop, const struct wp_http_options *options)
{
    static const struct wp_http_options plain;
    static bool ready;
    if (!options)
        options = &plain;
    if (!ready && curl_global_init(CURL_GLOBAL_DEFAULT))
        return NULL;
    ready = true;
    struct wp_http *http = calloc(1, sizeof *http);
    if (!http)
        return NULL;
    http->loop = loop;
    http->connections = options->connections ? options->connections : 4;
    http->pin_only = options->pin_only && options->pinned_key;
    if (copy(&http->ca_file, options->ca_file) && copy(&http->pinned_key, options->pinned_key) &&
        copy(&http->proxy, options->proxy) && copy(&http->unix_path, options->unix_path) &&
        http_drive_start(http))
        return http;
    free(http->ca_file);
    free(http->pinned_key);
    free(http->proxy);
    free(http->unix_path);
    free(http);
    return NULL;
}

size_t wp_http_load(const struct wp_http *http)
{
    return http->load;
}

static size_t take_answer(char *data, size_t size, size_t count, void *arg)
{
    struct call *call = arg;
    if (wp_bytes_add(&call->answer, data, size * count) == WP_OK)
        return size * count;
    call->overflow = true;
    return 0;
}

struct call *http_call_new(struct wp_http *http, wp_http_done done, void *arg)
{
    struct call *call = calloc(1, sizeof *call);
    if (!call)
        return NULL;
    call->easy = curl_easy_init();
    if (!call->easy) {
        free(call);
        return NULL;
    }
    call->http = http;
    call->done = done;
    call->arg = arg;
    wp_bytes_init(&call->answer, ANSWER_MOST);
    CURL *easy = call->easy;
    curl_easy_setopt(easy, CURLOPT_PRIVATE, call);
    curl_easy_setopt(easy, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(easy, CURLOPT_TCP_NODELAY, 1L);
    curl_easy_setopt(easy, CURLOPT_TCP_KEEPALIVE, 1L);
    curl_easy_setopt(easy, CURLOPT_ERRORBUFFER, call->trouble);
    curl_easy_setopt(easy, CURLOPT_WRITEFUNCTION, take_answer);
    curl_easy_setopt(easy, CURLOPT_WRITEDATA, call);
    curl_easy_setopt(easy, CURLOPT_LOW_SPEED_LIMIT, 1L);
    curl_easy_setopt(easy, CURLOPT_LOW_SPEED_TIME, STALL_S);
    if (http->ca_file)
        curl_easy_setopt(easy, CURLOPT_CAINFO, http->ca_file);
    if (http->pinned_key)
        curl_easy_setopt(easy, CURLOPT_PINNEDPUBLICKEY, http->pinned_key);
    if (http->proxy)
        curl_easy_setopt(easy, CURLOPT_PROXY, http->proxy);
    if (http->unix_path)
        curl_easy_setopt(easy, CURLOPT_UNIX_SOCKET_PATH, http->unix_path);
    if (http->pin_only) {
        curl_easy_setopt(easy, CURLOPT_SSL_VERIFYPEER, 0L);
        curl_easy_setopt(easy, CURLOPT_SSL_VERIFYHOST, 0L);
        /* Else each connection would read the system's authorities, some megabytes, for nothing. */
        curl_easy_setopt(easy, CURLOPT_CAINFO, NULL);
        curl_easy_setopt(easy, CURLOPT_CAPATH, NULL);
        /* A resumed session shows no certificate, so that there would be nothing to compare. */
        curl_easy_setopt(easy, CURLOPT_SSL_SESSIONID_CACHE, 0L);
    }
    return call;
}

void http_call_free(struct call *call)
{
    curl_easy_cleanup(call->easy);
    curl_slist_free_all(call->headers);
    curl_slist_free_all(call->recipients);
    wp_bytes_release(&call->answer);
    free(call);
}

enum wp_status http_call_start(struct call *call)
{
    struct wp_http *http = call->http;
    if (curl_multi_add_handle(http->multi, call->easy)) {
        http_call_free(call);
        return WP_NO_MEMORY;
    }
    call->next = http->calls;
    if (call->next)
        call->next->before = call;
    http->calls = call;
    http->load++;
    return WP_OK;
}

static void unlink_call(struct wp_http *http, struct call *call)
{
    if (call->before)
        call->before->next = call->next;
    else
        http->calls = call->next;
    if (call->next)
        call->next->before = call->before;
    http->load--;
    curl_multi_remove_handle(http->multi, call->easy);
}

static enum wp_http_trouble trouble_of(CURLcode result)
{
    switch (result) {
    case CURLE_OK:
        return WP_HTTP_FINE;
    case CURLE_COULDNT_RESOLVE_HOST:
        return WP_HTTP_NAME;
    case CURLE_COULDNT_RESOLVE_PROXY:
        return WP_HTTP_PROXY;
    case CURLE_COULDNT_CONNECT:
        return WP_HTTP_CLOSED;
    case CURLE_OPERATION_TIMEDOUT:
        return WP_HTTP_SLOW;
    case CURLE_SSL_CONNECT_ERROR:
        return WP_HTTP_TLS;
    case CURLE_PEER_FAILED_VERIFICATION:
    case CURLE_SSL_PINNEDPUBKEYNOTMATCH:
    case CURLE_SSL_ISSUER_ERROR:
    case CURLE_SSL_INVALIDCERTSTATUS:
        return WP_HTTP_PEER;
    default:
        return WP_HTTP_OTHER;
    }
}

static void judge(struct call *call, CURLcode result, struct wp_http_answer *answer)
{
    const char *why = call->trouble[0] ? call->trouble : curl_easy_strerror(result);
    answer->trouble = trouble_of(result);
    if (result && answer->proxy_code >= 300)
        answer->trouble = WP_HTTP_REFUSED;
    /* Curl would say the whole address, password included. */
    if (strncmp(why, "Unsupported proxy", 17) == 0) {
        answer->trouble = WP_HTTP_PROXY;
        why = "the proxy's address is malformed";
    }
    if (call->overflow)
        answer->status = wp_fail(&answer->error, WP_TOO_LARGE,
                                 "the answer is larger than %zu bytes", call->answer.limit);
    else if (result == CURLE_OK)
        answer->status = WP_OK;
    else if (call->mail && result == CURLE_REMOTE_FILE_NOT_FOUND)
        answer->status = wp_fail(&answer->error, WP_NOT_FOUND, "%s", why);
    else if (call->mail && answer->code >= 400) {
        /* A refusal is an answer: its code says whether to try again. */
        (void)wp_fail(&answer->error, WP_IO, "%s", why);
        answer->status = WP_OK;
    } else
        answer->status = wp_fail(&answer->error, WP_RETRY, "%s", why);
}

void http_call_finish(struct wp_http *http, struct call *call, CURLcode result)
{
    struct wp_http_answer answer = {.size = call->answer.size};
    unlink_call(http, call);
    curl_off_t retry_after = 0;
    char *type = NULL;
    curl_easy_getinfo(call->easy, CURLINFO_RESPONSE_CODE, &answer.code);
    if (!call->mail) {
        curl_easy_getinfo(call->easy, CURLINFO_HTTP_CONNECTCODE, &answer.proxy_code);
        curl_easy_getinfo(call->easy, CURLINFO_RETRY_AFTER, &retry_after);
        curl_easy_getinfo(call->easy, CURLINFO_CONTENT_TYPE, &type);
    }
    answer.retry_after_s = retry_after > 0 && retry_after < 1000000 ? (long)retry_after : 0;
    answer.content_type = type;
    answer.body = call->answer.data ? call->answer.data : "";
    judge(call, result, &answer);
    call->done(call->arg, &answer);
    http_call_free(call);
}

/* True if the text can stand in a header line. */
static bool one_line(const char *text)
{
    return !strpbrk(text, "\r\n");
}

static enum wp_status add_header(struct call *call, const char *line)
{
    struct curl_slist *grown = curl_slist_append(call->headers, line);
    if (!grown)
        return WP_NO_MEMORY;
    call->headers = grown;
    return WP_OK;
}

static enum wp_status add_headers(struct call *call, const char *const *lines)
{
    /* Curl's own wishes: a pause before the body, and a type that we did not state. */
    bool typed = false;
    enum wp_status status = add_header(call, "Expect:");
    for (size_t i = 0; !status && lines && lines[i]; i++) {
        if (!one_line(lines[i]))
            return WP_INVALID;
        typed = typed || strncasecmp(lines[i], "content-type:", 13) == 0;
        status = add_header(call, lines[i]);
    }
    return status || typed ? status : add_header(call, "Content-Type:");
}

static bool url_usable(const char *url)
{
    CURLU *parts = curl_url();
    char *scheme = NULL;
    bool good = parts && one_line(url) && !curl_url_set(parts, CURLUPART_URL, url, 0) &&
                !curl_url_get(parts, CURLUPART_SCHEME, &scheme, 0) &&
                (!strcmp(scheme, "http") || !strcmp(scheme, "https"));
    curl_free(scheme);
    curl_url_cleanup(parts);
    return good;
}

bool wp_http_proxy_usable(const char *url, char *shown, size_t room)
{
    static const char *const schemes[] = {"http", "https", "socks5", "socks5h"};
    CURLU *parts = curl_url();
    char *scheme = NULL;
    char *plain = NULL;
    bool good = false;
    if (parts && one_line(url) &&
        !curl_url_set(parts, CURLUPART_URL, url, CURLU_NON_SUPPORT_SCHEME) &&
        !curl_url_get(parts, CURLUPART_SCHEME, &scheme, 0))
        for (size_t i = 0; i < sizeof schemes / sizeof schemes[0]; i++)
            good = good || !strcmp(scheme, schemes[i]);
    if (good && shown) {
        (void)curl_url_set(parts, CURLUPART_USER, NULL, 0);
        (void)curl_url_set(parts, CURLUPART_PASSWORD, NULL, 0);
        good = !curl_url_get(parts, CURLUPART_URL, &plain, 0);
        (void)snprintf(shown, room, "%s", good ? plain : "");
    }
    curl_free(plain);
    curl_free(scheme);
    curl_url_cleanup(parts);
    return good;
}

static void set_body(CURL *easy, const struct wp_http_request *request)
{
    bool bare = !strcmp(request->method, "GET") || !strcmp(request->method, "HEAD");
    if (!strcmp(request->method, "HEAD"))
        curl_easy_setopt(easy, CURLOPT_NOBODY, 1L);
    if (bare && !request->body)
        return;
    curl_easy_setopt(easy, CURLOPT_POST, 1L);
    curl_easy_setopt(easy, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)request->size);
    curl_easy_setopt(easy, CURLOPT_POSTFIELDS, request->body ? request->body : "");
    curl_easy_setopt(easy, CURLOPT_CUSTOMREQUEST, request->method);
}

enum wp_status wp_http_send(struct wp_http *http, const struct wp_http_request *request,
                            wp_http_done done, void *arg)
{
    if (http->closing || http->load >= MOST_CALLS)
        return WP_RETRY;
    if (!url_usable(request->url) || !one_line(request->method))
        return WP_INVALID;
    struct call *call = http_call_new(http, done, arg);
    if (!call)
        return WP_NO_MEMORY;
    if (request->answer_most)
        call->answer.limit = request->answer_most;
    enum wp_status status = add_headers(call, request->headers);
    if (status) {
        http_call_free(call);
        return status;
    }
    CURL *easy = call->easy;
    curl_easy_setopt(easy, CURLOPT_URL, request->url);
    curl_easy_setopt(easy, CURLOPT_PROTOCOLS_STR, "http,https");
    curl_easy_setopt(easy, CURLOPT_HTTP_VERSION, (long)CURL_HTTP_VERSION_1_1);
    curl_easy_setopt(easy, CURLOPT_HTTPHEADER, call->headers);
    curl_easy_setopt(easy, CURLOPT_TIMEOUT_MS,
                     (long)(request->timeout_ms ? request->timeout_ms : TIMEOUT_MS));
    curl_easy_setopt(easy, CURLOPT_CONNECTTIMEOUT_MS,
                     (long)(request->connect_ms ? request->connect_ms : CONNECT_MS));
    set_body(easy, request);
    return http_call_start(call);
}

void http_end(struct wp_http *http)
{
    while (http->load > 0) {
        struct call *call = http->calls;
        /* http_call_finish takes it off the list, which the analyzer does not follow. */
        // NOLINTBEGIN(clang-analyzer-unix.Malloc)
        (void)snprintf(call->trouble, sizeof call->trouble, "the client is stopping");
        http_call_finish(http, call, CURLE_ABORTED_BY_CALLBACK);
        // NOLINTEND(clang-analyzer-unix.Malloc)
    }
    http_drive_stop(http);
}

void wp_http_free(struct wp_http *http)
{
    if (!http || http->closing)
        return;
    http->closing = true;
    if (!http->handing_out)
        http_end(http);
}
