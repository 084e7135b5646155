#include "body.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/id.h"
#include "request.h"

#define STRANGERS_SHARE 4 /* a quarter of the budget */

void wp_body_init(struct wp_request *request)
{
    struct wp_body *body = &request->body;
    body->fd = -1;
    const struct wp_route *route = request->route;
    if (!route || route->body == WP_BODY_NONE)
        return;
    body->file = route->body == WP_BODY_FILE;
    body->most = body->file         ? request->web->options.capture_most
                 : route->body_most ? route->body_most
                                    : WP_JSON_BODY_MOST;
}

static bool fits(const struct wp_request *request, size_t size)
{
    const struct wp_web *web = request->web;
    size_t most = web->options.memory_most;
    return size <= most - web->memory_used &&
           (request->peer->known || size <= most / STRANGERS_SHARE - web->stranger_memory);
}

/* Reserves `size` bytes of the budget. */
static bool reserve(struct wp_request *request, size_t size)
{
    struct wp_web *web = request->web;
    if (!fits(request, size))
        return false;
    web->memory_used += size;
    request->body.reserved = size;
    request->body.of_stranger = !request->peer->known;
    if (request->body.of_stranger)
        web->stranger_memory += size;
    wp_bytes_init(&request->body.memory, size);
    request->body.ready = true;
    return size == 0 || wp_bytes_reserve(&request->body.memory, size) == WP_OK;
}

static void release_memory(struct wp_request *request)
{
    struct wp_body *body = &request->body;
    wp_bytes_release(&body->memory);
    request->web->memory_used -= body->reserved;
    if (body->of_stranger)
        request->web->stranger_memory -= body->reserved;
    body->reserved = 0;
}

/* Room for the whole body in memory, else for one piece on its way to the staging file. */
static bool prepare(struct wp_request *request)
{
    struct wp_body *body = &request->body;
    uint64_t expected = body->declared < body->most ? body->declared : body->most;
    bool small = !body->file || expected <= WP_BODY_IN_MEMORY;
    if (small && reserve(request, (size_t)expected))
        return true;
    if (!body->file)
        return false;
    body->staged = true;
    return reserve(request, WP_BODY_PIECE);
}

static enum wp_status fail_write(struct wp_body *body, const char *what)
{
    int code = errno;
    enum wp_status status = code == ENOSPC || code == EDQUOT ? WP_FULL : WP_IO;
    return wp_fail(&body->error, status, "The staging file could not be %s: %s.", what,
                   strerror(code));
}

static enum wp_status open_file(struct wp_request *request)
{
    struct wp_body *body = &request->body;
    snprintf(body->path, sizeof body->path, "%s/staging/%lld.part", request->web->folder,
             (long long)wp_id_next());
    body->fd = open(body->path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (body->fd >= 0)
        return WP_OK;
    body->path[0] = '\0';
    return fail_write(body, "made");
}

static enum wp_status write_piece(struct wp_body *body)
{
    size_t at = 0;
    while (at < body->memory.size) {
        ssize_t wrote = write(body->fd, body->memory.data + at, body->memory.size - at);
        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote <= 0)
            return fail_write(body, "written");
        at += (size_t)wrote;
    }
    wp_bytes_clear(&body->memory);
    return WP_OK;
}

/* The file's own sync; its folder entry is synced by the store after the rename. */
static void work_write(void *job)
{
    struct wp_request *request = job;
    struct wp_body *body = &request->body;
    body->written = body->fd < 0 ? open_file(request) : WP_OK;
    if (!body->written)
        body->written = write_piece(body);
    if (!body->written && body->ended && fdatasync(body->fd) != 0)
        body->written = fail_write(body, "synced");
}

static void done_write(void *job, bool ran)
{
    struct wp_request *request = job;
    struct wp_body *body = &request->body;
    if (!ran)
        body->written = wp_fail(&body->error, WP_RETRY, "The gateway is stopping.");
    if (body->written)
        wp_reply_problem(request, body->written, &body->error);
    else
        wp_request_wake(request);
}

static void submit_write(struct wp_request *request)
{
    if (wp_lane_submit(request->web->disk, work_write, done_write, request))
        wp_job_park(request, submit_write);
}

/* After an answer is decided the rest of the body is thrown away, so far as that is reasonable. */
static enum wp_take drain(struct wp_body *body, size_t *size)
{
    body->drained += *size;
    *size = 0;
    return body->drained > WP_BODY_DRAIN ? WP_TAKE_CLOSE : WP_TAKE_TAKEN;
}

void wp_body_refuse(struct wp_request *request)
{
    struct wp_error error;
    wp_fail(&error, WP_TOO_LARGE, "The body is larger than %llu bytes.",
            (unsigned long long)request->body.most);
    wp_reply_problem(request, WP_TOO_LARGE, &error);
}

static enum wp_take keep(struct wp_request *request, const char *data, size_t *size)
{
    struct wp_body *body = &request->body;
    size_t room = body->memory.limit - body->memory.size;
    size_t part = *size < room ? *size : room;
    if (wp_bytes_add(&body->memory, data, part)) {
        wp_reply_problem(request, WP_NO_MEMORY, NULL);
        return drain(body, size);
    }
    body->total += part;
    request->web->counts.body_bytes += part;
    *size -= part;
    if (!body->staged || body->memory.size < body->memory.limit)
        return WP_TAKE_TAKEN;
    wp_request_suspend(request);
    submit_write(request);
    return WP_TAKE_WAIT;
}

/* A stranger's slow bodies must not keep the share from other strangers. */
static void wait_for_memory(struct wp_request *request)
{
    if (!request->peer->known)
        (void)wp_door_make_room(request->web);
    wp_request_suspend(request);
    wp_job_park(request, wp_request_wake);
}

static bool must_be_admitted(const struct wp_request *request)
{
    const struct wp_body *body = &request->body;
    bool large = body->file || body->most > WP_JSON_BODY_MOST;
    return large && !body->admitted && !request->peer->known;
}

enum wp_take wp_body_take(struct wp_request *request, const char *data, size_t *size)
{
    struct wp_body *body = &request->body;
    if (request->response || body->most == 0)
        return drain(body, size);
    if (body->total + *size > body->most) {
        wp_body_refuse(request);
        return drain(body, size);
    }
    if (must_be_admitted(request)) {
        wp_request_suspend(request);
        wp_job_admit(request);
        return WP_TAKE_WAIT;
    }
    if (!body->ready && !prepare(request)) {
        wait_for_memory(request);
        return WP_TAKE_WAIT;
    }
    return keep(request, data, size);
}

bool wp_body_end(struct wp_request *request)
{
    struct wp_body *body = &request->body;
    if (!body->staged || body->ended || request->response)
        return true;
    body->ended = true;
    wp_request_suspend(request);
    submit_write(request);
    return false;
}

void wp_body_release(struct wp_request *request)
{
    struct wp_body *body = &request->body;
    release_memory(request);
    if (body->fd >= 0)
        close(body->fd);
    if (body->path[0])
        unlink(body->path);
    body->fd = -1;
}
