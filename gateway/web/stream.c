#include "stream.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "base/log.h"
#include "fields.h"
#include "request.h"

#define ROOM ((size_t)256 * 1024)
#define BLOCK ((size_t)32 * 1024)

/* Held by the worker's job and by the response; the last one frees it. */
struct wp_stream {
    struct wp_request *request; /* NULL once the response is gone; loop only */
    wp_stream_fn fn;
    void *arg;
    void (*arg_free)(void *arg);
    uv_async_t async;
    int holders; /* loop only */
    pthread_mutex_t lock;
    pthread_cond_t changed;
    /* under the lock */
    char *ring;
    size_t at, held;
    bool ended, failed, gone;
    bool resting; /* the connection waits for bytes */
};

static void on_async_closed(uv_handle_t *handle)
{
    struct wp_stream *stream = handle->data;
    pthread_mutex_destroy(&stream->lock);
    pthread_cond_destroy(&stream->changed);
    if (stream->arg_free)
        stream->arg_free(stream->arg);
    free(stream->ring);
    free(stream);
}

static void let_go(struct wp_stream *stream)
{
    if (--stream->holders == 0)
        uv_close((uv_handle_t *)&stream->async, on_async_closed);
}

/* ---- the worker's side ---- */

static size_t put(struct wp_stream *stream, const char *data, size_t size)
{
    size_t end = (stream->at + stream->held) % ROOM;
    size_t part = ROOM - stream->held;
    if (part > ROOM - end)
        part = ROOM - end;
    if (part > size)
        part = size;
    memcpy(stream->ring + end, data, part);
    stream->held += part;
    return part;
}

enum wp_status wp_stream_write(struct wp_stream *stream, const void *data, size_t size)
{
    const char *from = data;
    pthread_mutex_lock(&stream->lock);
    while (size > 0 && !stream->gone) {
        size_t part = put(stream, from, size);
        from += part;
        size -= part;
        if (stream->resting && stream->held >= BLOCK)
            uv_async_send(&stream->async);
        if (size > 0 && stream->held == ROOM)
            pthread_cond_wait(&stream->changed, &stream->lock);
    }
    bool gone = stream->gone;
    pthread_mutex_unlock(&stream->lock);
    return gone ? WP_RETRY : WP_OK;
}

static void work_stream(void *job)
{
    struct wp_stream *stream = job;
    enum wp_status status = stream->fn(stream, stream->arg);
    pthread_mutex_lock(&stream->lock);
    stream->ended = true;
    stream->failed = status != WP_OK;
    pthread_mutex_unlock(&stream->lock);
    uv_async_send(&stream->async);
}

static void done_stream(void *job, bool ran)
{
    struct wp_stream *stream = job;
    if (!ran) {
        stream->ended = true;
        stream->failed = true;
        uv_async_send(&stream->async);
    }
    let_go(stream);
}

/* ---- the connection's side ---- */

static void on_async(uv_async_t *async)
{
    struct wp_stream *stream = async->data;
    pthread_mutex_lock(&stream->lock);
    bool wake = stream->resting && stream->request;
    stream->resting = false;
    pthread_mutex_unlock(&stream->lock);
    if (wake)
        wp_request_wake(stream->request);
}

static ssize_t take(struct wp_stream *stream, char *out, size_t most)
{
    size_t part = stream->held < most ? stream->held : most;
    if (part > ROOM - stream->at)
        part = ROOM - stream->at;
    memcpy(out, stream->ring + stream->at, part);
    stream->at = (stream->at + part) % ROOM;
    stream->held -= part;
    pthread_cond_signal(&stream->changed);
    return (ssize_t)part;
}

static ssize_t on_read(void *cls, uint64_t position, char *out, size_t most)
{
    struct wp_stream *stream = cls;
    (void)position;
    ssize_t result = 0;
    pthread_mutex_lock(&stream->lock);
    if (stream->held > 0)
        result = take(stream, out, most);
    else if (stream->ended)
        result =
            stream->failed ? MHD_CONTENT_READER_END_WITH_ERROR : MHD_CONTENT_READER_END_OF_STREAM;
    else
        stream->resting = true;
    bool rest = stream->resting;
    pthread_mutex_unlock(&stream->lock);
    if (rest)
        wp_request_suspend(stream->request);
    return result;
}

/* The response is gone: sent whole, or the client went away. */
static void on_response_gone(void *cls)
{
    struct wp_stream *stream = cls;
    pthread_mutex_lock(&stream->lock);
    stream->gone = true;
    stream->resting = false;
    pthread_cond_signal(&stream->changed);
    pthread_mutex_unlock(&stream->lock);
    stream->request = NULL;
    let_go(stream);
}

static struct wp_stream *new_stream(struct wp_request *request, wp_stream_fn fn, void *arg,
                                    void (*arg_free)(void *arg))
{
    struct wp_stream *stream = calloc(1, sizeof *stream);
    char *ring = malloc(ROOM);
    if (!stream || !ring || uv_async_init(request->web->options.loop, &stream->async, on_async)) {
        free(stream);
        free(ring);
        return NULL;
    }
    stream->async.data = stream;
    stream->ring = ring;
    stream->request = request;
    stream->fn = fn;
    stream->arg = arg;
    stream->arg_free = arg_free;
    pthread_mutex_init(&stream->lock, NULL);
    pthread_cond_init(&stream->changed, NULL);
    return stream;
}

static void send_stream(struct wp_request *request, struct wp_stream *stream, const char *type,
                        const char *name)
{
    struct MHD_Response *response = MHD_create_response_from_callback(
        MHD_SIZE_UNKNOWN, BLOCK, on_read, stream, on_response_gone);
    if (!response) {
        on_response_gone(stream);
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
        return;
    }
    char disposition[WP_DISPOSITION_ROOM];
    wp_disposition(true, name, disposition);
    wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type);
    wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_DISPOSITION, disposition);
    wp_reply_response(request, MHD_HTTP_OK, response);
}

void wp_reply_stream(struct wp_request *request, const char *type, const char *name,
                     wp_stream_fn fn, void *arg, void (*arg_free)(void *arg))
{
    struct wp_stream *stream = new_stream(request, fn, arg, arg_free);
    if (!stream) {
        if (arg_free)
            arg_free(arg);
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
        return;
    }
    stream->holders = 1;
    if (wp_lane_submit(request->web->options.exports, work_stream, done_stream, stream)) {
        let_go(stream);
        wp_reply_problem(request, WP_RETRY, NULL);
        return;
    }
    stream->holders++;
    send_stream(request, stream, type, name);
}
