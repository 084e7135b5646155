#include "handler.h"

#include "base/clock.h"
#include "request.h"

static enum MHD_Result queue_answer(struct wp_request *request)
{
    if (!request->response)
        return MHD_NO; /* there was no memory for one */
    request->web->counts.answers[request->code / 100 % 6]++;
    return MHD_queue_response(request->connection, request->code, request->response);
}

/* The header has arrived. Only what could never be drained is answered at once. */
static enum MHD_Result begin(struct MHD_Connection *connection, const char *url, const char *method,
                             void **context)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    struct wp_peer *peer = info ? info->socket_context : NULL;
    struct wp_request *request = peer ? wp_request_new(peer, connection, method, url) : NULL;
    if (!request)
        return MHD_NO;
    *context = request;
    peer->request = request;
    peer->waiting_us = 0;
    peer->asked = true;
    const struct wp_body *body = &request->body;
    bool hopeless = body->declared != UINT64_MAX && body->declared > body->most &&
                    body->declared > WP_BODY_DRAIN;
    if (!hopeless)
        return MHD_YES;
    request->close = true;
    if (!request->response)
        wp_body_refuse(request);
    return queue_answer(request);
}

static enum MHD_Result take(struct wp_request *request, const char *data, size_t *size)
{
    return wp_body_take(request, data, size) == WP_TAKE_CLOSE ? MHD_NO : MHD_YES;
}

enum MHD_Result wp_handle_request(void *listener, struct MHD_Connection *connection,
                                  const char *url, const char *method, const char *version,
                                  const char *data, size_t *size, void **context)
{
    (void)listener;
    (void)version;
    struct wp_request *request = *context;
    if (!request)
        return begin(connection, url, method, context);
    if (request->busy) /* called again although suspended: the bytes will be offered again */
        return MHD_YES;
    if (*size > 0)
        return take(request, data, size);
    if (request->response || request->close)
        return queue_answer(request);
    if (!wp_body_end(request))
        return MHD_YES;
    if (!request->started)
        wp_request_start(request);
    return request->busy ? MHD_YES : queue_answer(request);
}

void wp_handle_completed(void *listener, struct MHD_Connection *connection, void **context,
                         enum MHD_RequestTerminationCode code)
{
    (void)listener;
    (void)connection;
    struct wp_request *request = *context;
    *context = NULL;
    if (!request)
        return;
    if (code != MHD_REQUEST_TERMINATED_COMPLETED_OK)
        request->web->counts.answers[0]++;
    request->peer->request = NULL;
    request->peer->waiting_us = wp_clock_steady();
    wp_request_free(request);
}
