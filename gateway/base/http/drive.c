#include <stdlib.h>

#include "http_parts.h"

struct watched {
    uv_poll_t poll;
    struct wp_http *http;
    curl_socket_t socket;
};

static void let_go(struct wp_http *http)
{
    if (--http->handles > 0)
        return;
    free(http->ca_file);
    free(http->pinned_key);
    free(http->proxy);
    free(http->unix_path);
    free(http);
}

static void socket_closed(uv_handle_t *handle)
{
    struct watched *watched = handle->data;
    struct wp_http *http = watched->http;
    free(watched);
    let_go(http);
}

static void timer_closed(uv_handle_t *handle)
{
    let_go(handle->data);
}

static void hand_out(struct wp_http *http)
{
    int left = 0;
    CURLMsg *message;
    http->handing_out = true;
    while (!http->closing && (message = curl_multi_info_read(http->multi, &left))) {
        if (message->msg != CURLMSG_DONE)
            continue;
        CURLcode result = message->data.result;
        char *call = NULL;
        curl_easy_getinfo(message->easy_handle, CURLINFO_PRIVATE, &call);
        http_call_finish(http, (struct call *)(void *)call, result);
    }
    http->handing_out = false;
    if (http->closing)
        http_end(http);
}

static void socket_ready(uv_poll_t *poll, int status, int events)
{
    struct watched *watched = poll->data;
    struct wp_http *http = watched->http;
    int flags = status < 0 ? CURL_CSELECT_ERR : 0;
    int running = 0;
    if (events & UV_READABLE)
        flags |= CURL_CSELECT_IN;
    if (events & UV_WRITABLE)
        flags |= CURL_CSELECT_OUT;
    curl_multi_socket_action(http->multi, watched->socket, flags, &running);
    hand_out(http);
}

static void timer_due(uv_timer_t *timer)
{
    struct wp_http *http = timer->data;
    int running = 0;
    curl_multi_socket_action(http->multi, CURL_SOCKET_TIMEOUT, 0, &running);
    hand_out(http);
}

static struct watched *watch(struct wp_http *http, curl_socket_t socket)
{
    struct watched *watched = calloc(1, sizeof *watched);
    if (!watched)
        return NULL;
    watched->http = http;
    watched->socket = socket;
    if (uv_poll_init_socket(http->loop, &watched->poll, socket)) {
        free(watched);
        return NULL;
    }
    watched->poll.data = watched;
    http->handles++;
    curl_multi_assign(http->multi, socket, watched);
    return watched;
}

/* Always 0: anything else would end the whole client for good. A socket that cannot be watched now
 * is tried again at curl's next wish for it, and its request ends by its time limit. */
static int socket_wish(CURL *easy, curl_socket_t socket, int what, void *arg, void *known)
{
    struct wp_http *http = arg;
    struct watched *watched = known;
    (void)easy;
    if (what == CURL_POLL_REMOVE) {
        if (watched) {
            curl_multi_assign(http->multi, socket, NULL);
            uv_poll_stop(&watched->poll);
            uv_close((uv_handle_t *)&watched->poll, socket_closed);
        }
        return 0;
    }
    if (!watched)
        watched = watch(http, socket);
    if (!watched)
        return 0;
    int events = 0;
    if (what & CURL_POLL_IN)
        events |= UV_READABLE;
    if (what & CURL_POLL_OUT)
        events |= UV_WRITABLE;
    (void)uv_poll_start(&watched->poll, events, socket_ready);
    return 0;
}

static int timer_wish(CURLM *multi, long timeout_ms, void *arg)
{
    struct wp_http *http = arg;
    (void)multi;
    if (timeout_ms < 0)
        return uv_timer_stop(&http->timer) ? -1 : 0;
    return uv_timer_start(&http->timer, timer_due, (uint64_t)timeout_ms, 0) ? -1 : 0;
}

bool http_drive_start(struct wp_http *http)
{
    http->multi = curl_multi_init();
    if (!http->multi)
        return false;
    if (uv_timer_init(http->loop, &http->timer)) {
        curl_multi_cleanup(http->multi);
        return false;
    }
    http->timer.data = http;
    http->handles = 1;
    curl_multi_setopt(http->multi, CURLMOPT_SOCKETFUNCTION, socket_wish);
    curl_multi_setopt(http->multi, CURLMOPT_SOCKETDATA, http);
    curl_multi_setopt(http->multi, CURLMOPT_TIMERFUNCTION, timer_wish);
    curl_multi_setopt(http->multi, CURLMOPT_TIMERDATA, http);
    curl_multi_setopt(http->multi, CURLMOPT_MAXCONNECTS, (long)http->connections);
    curl_multi_setopt(http->multi, CURLMOPT_MAX_HOST_CONNECTIONS, (long)http->connections);
    return true;
}

void http_drive_stop(struct wp_http *http)
{
    curl_multi_cleanup(http->multi);
    http->multi = NULL;
    uv_timer_stop(&http->timer);
    uv_close((uv_handle_t *)&http->timer, timer_closed);
}
