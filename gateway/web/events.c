#include "live.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "listener.h"
#include "request.h"
#include "web/events.h"

#define TOPICS_MOST 16
#define TOPIC_ROOM 40
#define ROWS_MOST 256
#define BUFFER_MOST (256 * 1024) /* a client that far behind is cut off; it resumes by number */
#define PING_US (15 * WP_SECOND)
#define CHECK_US WP_MINUTE

/* One client. Lives until its response is gone and no check of its access is under way. */
struct follower {
    struct wp_events *events;
    struct wp_request *request; /* NULL once the response is gone */
    struct follower *next, *previous;
    char topics[TOPICS_MOST][TOPIC_ROOM];
    size_t topic_count;
    struct wp_proof proof;
    char bearer[WP_TOKEN_ROOM], session[WP_TOKEN_ROOM], bench[WP_TOKEN_ROOM];
    struct wp_who who;
    bool command;   /* on the control socket: nothing to check again */
    int64_t number; /* of the last event it was given */
    int64_t newest; /* the newest there was at its start */
    int64_t pinged_us, checked_us;
    bool checking, resting, ended;
    struct wp_bytes buffer;
    size_t sent;
};

struct row {
    int64_t number, at_us;
    char topic[TOPIC_ROOM];
    char *body;
};

struct wp_events {
    struct wp_web *web;
    struct follower *followers;
    bool looking, again, ended;
    unsigned checking;
    int64_t from; /* of the look under way */
    struct row rows[ROWS_MOST];
    size_t row_count;
};

/* ---- access ---- */

static enum wp_status check_topics(struct wp_sql *sql, int64_t now, const struct wp_who *who,
                                   const struct follower *follower)
{
    for (size_t i = 0; i < follower->topic_count; i++) {
        const char *id = NULL;
        const struct wp_topic *topic = wp_topic_find(follower->topics[i], &id);
        struct wp_ask ask = {.who = who, .param = {id}};
        enum wp_status status =
            topic ? wp_access_check(sql, now, who, topic->roles, topic->scope, &ask) : WP_NOT_FOUND;
        if (status)
            return status;
    }
    return WP_OK;
}

/* ---- the stream's end at the client ---- */

static void unlink_follower(struct follower *follower)
{
    if (follower->previous)
        follower->previous->next = follower->next;
    else
        follower->events->followers = follower->next;
    if (follower->next)
        follower->next->previous = follower->previous;
}

static void free_follower(void *state)
{
    struct follower *follower = state;
    if (!follower)
        return;
    wp_bytes_release(&follower->buffer);
    free(follower);
}

static void wake(struct follower *follower)
{
    if (!follower->resting)
        return;
    follower->resting = false;
    wp_request_wake(follower->request);
}

static void end_follower(struct follower *follower)
{
    follower->ended = true;
    wake(follower);
}

static ssize_t on_read(void *cls, uint64_t position, char *out, size_t most)
{
    struct follower *follower = cls;
    (void)position;
    size_t held = follower->buffer.size - follower->sent;
    size_t part = held < most ? held : most;
    if (part > 0) {
        memcpy(out, follower->buffer.data + follower->sent, part);
        follower->sent += part;
        if (follower->sent == follower->buffer.size) {
            wp_bytes_clear(&follower->buffer);
            follower->sent = 0;
        }
        return (ssize_t)part;
    }
    if (follower->ended)
        return MHD_CONTENT_READER_END_OF_STREAM;
    follower->resting = true;
    wp_request_suspend(follower->request);
    return 0;
}

static void on_gone(void *cls)
{
    struct follower *follower = cls;
    follower->request = NULL;
    follower->resting = false;
    unlink_follower(follower);
    if (!follower->checking)
        free_follower(follower);
}

/* ---- news ---- */

static bool follows(const struct follower *follower, const struct row *row)
{
    if (row->number <= follower->number)
        return false;
    for (size_t i = 0; i < follower->topic_count; i++)
        if (!strcmp(follower->topics[i], row->topic))
            return true;
    return false;
}

static void give(struct follower *follower, const struct row *row)
{
    if (wp_bytes_addf(&follower->buffer,
                      "id: %lld\ndata: {\"topic\":\"%s\",\"at_us\":%lld,\"body\":%s}\n\n",
                      (long long)row->number, row->topic, (long long)row->at_us, row->body))
        end_follower(follower);
}

static enum wp_status run_look(struct wp_sql *sql, void *job)
{
    struct wp_events *events = job;
    struct wp_rows rows;
    events->row_count = 0;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT number, at_us, topic, body FROM event WHERE number > ? "
                     "ORDER BY number LIMIT 256",
                     "i", events->from);
    if (status)
        return status;
    while (events->row_count < ROWS_MOST && wp_rows_next(&rows)) {
        struct row *row = &events->rows[events->row_count];
        row->number = wp_rows_int(&rows, 0);
        row->at_us = wp_rows_int(&rows, 1);
        snprintf(row->topic, sizeof row->topic, "%s", wp_rows_text(&rows, 2));
        row->body = strdup(wp_rows_text(&rows, 3));
        if (!row->body)
            break;
        for (char *at = row->body; *at; at++)
            if (*at == '\n' || *at == '\r')
                *at = ' ';
        events->row_count++;
    }
    return wp_rows_end(&rows);
}

static void start_look(struct wp_events *events);

static void hand_out(struct wp_events *events)
{
    for (struct follower *follower = events->followers; follower; follower = follower->next) {
        for (size_t i = 0; i < events->row_count && !follower->ended; i++)
            if (follows(follower, &events->rows[i]))
                give(follower, &events->rows[i]);
        if (events->row_count && events->rows[events->row_count - 1].number > follower->number)
            follower->number = events->rows[events->row_count - 1].number;
    }
}

/* Waking may end a follower, so the list is walked with the next one in hand. */
static void wake_followers(struct wp_events *events)
{
    struct follower *next = NULL;
    for (struct follower *follower = events->followers; follower; follower = next) {
        next = follower->next;
        if (follower->buffer.size > follower->sent)
            wake(follower);
    }
}

static void done_look(void *job, enum wp_status status)
{
    struct wp_events *events = job;
    bool more = events->row_count == ROWS_MOST;
    events->looking = false;
    if (status)
        wp_log(WP_LOG_WARN, "web", "events could not be read: %s", wp_status_name(status));
    else
        hand_out(events);
    for (size_t i = 0; i < events->row_count; i++)
        free(events->rows[i].body);
    events->row_count = 0;
    wake_followers(events);
    if ((events->again || (more && !status)) && !events->ended)
        start_look(events);
}

static void start_look(struct wp_events *events)
{
    if (!events->followers)
        return;
    events->from = INT64_MAX;
    for (struct follower *follower = events->followers; follower; follower = follower->next)
        if (follower->number < events->from)
            events->from = follower->number;
    events->again = false;
    events->looking = true;
    if (wp_db_read(events->web->options.db, run_look, done_look, events)) {
        events->looking = false;
        events->again = true; /* the tick tries again */
    }
}

void wp_events_look(struct wp_events *events)
{
    if (events->looking)
        events->again = true;
    else
        start_look(events);
}

/* ---- time ---- */

static enum wp_status run_check(struct wp_sql *sql, void *job)
{
    struct follower *follower = job;
    int64_t now = wp_clock_utc();
    enum wp_status status = wp_who_resolve(sql, now, &follower->proof, &follower->who);
    return status ? status : check_topics(sql, now, &follower->who, follower);
}

static void done_check(void *job, enum wp_status status)
{
    struct follower *follower = job;
    follower->checking = false;
    follower->events->checking--;
    if (!follower->request)
        free_follower(follower);
    else if (status)
        end_follower(follower);
}

static void check_again(struct follower *follower, int64_t now)
{
    if (follower->command || follower->checking || now - follower->checked_us < CHECK_US)
        return;
    follower->checked_us = now;
    if (wp_db_read(follower->events->web->options.db, run_check, done_check, follower))
        return;
    follower->checking = true;
    follower->events->checking++;
}

static void ping(struct follower *follower, int64_t now)
{
    if (now - follower->pinged_us < PING_US)
        return;
    follower->pinged_us = now;
    if (wp_bytes_add_text(&follower->buffer, ": ping\n\n"))
        follower->ended = true;
}

void wp_events_tick(struct wp_events *events)
{
    int64_t now = wp_clock_steady();
    for (struct follower *follower = events->followers; follower; follower = follower->next) {
        ping(follower, now);
        check_again(follower, now);
    }
    wake_followers(events);
    if (events->again && !events->looking)
        start_look(events);
}

/* ---- a new follower ---- */

static bool read_topics(struct wp_request *request, struct follower *follower)
{
    const char *text = wp_ask_text(&request->ask, "topics");
    while (text && *text) {
        size_t length = strcspn(text, ",");
        const char *id = NULL;
        if (follower->topic_count == TOPICS_MOST || length == 0 || length >= TOPIC_ROOM)
            return false;
        char *topic = follower->topics[follower->topic_count++];
        snprintf(topic, TOPIC_ROOM, "%.*s", (int)length, text);
        if (!wp_topic_find(topic, &id))
            return false;
        text += length + (text[length] == ',');
    }
    return follower->topic_count > 0;
}

static void copy_proof(const struct wp_request *request, struct follower *follower)
{
    memcpy(follower->bearer, request->bearer, sizeof follower->bearer);
    memcpy(follower->session, request->session, sizeof follower->session);
    memcpy(follower->bench, request->bench, sizeof follower->bench);
    follower->proof.bearer = request->proof.bearer ? follower->bearer : NULL;
    follower->proof.session = request->proof.session ? follower->session : NULL;
    follower->proof.bench = request->proof.bench ? follower->bench : NULL;
    follower->command = request->peer->uid != (uid_t)-1;
}

/* Where it left off, as long as that is not in the future of a restored database. */
static void read_number(struct wp_request *request, struct follower *follower)
{
    const char *last = wp_request_field(request, "Last-Event-ID");
    int64_t after = 0;
    follower->number = follower->newest;
    if (last)
        after = strtoll(last, NULL, 10);
    else if (!wp_ask_int(&request->ask, "after", &after))
        return;
    if (after >= 0 && after < follower->number)
        follower->number = after;
}

static struct follower *new_follower(struct wp_request *request)
{
    struct follower *follower = calloc(1, sizeof *follower);
    if (!follower)
        return NULL;
    wp_bytes_init(&follower->buffer, BUFFER_MOST);
    copy_proof(request, follower);
    request->state = follower;
    request->state_free = free_follower;
    return follower;
}

enum wp_status wp_load_events(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    struct follower *follower = new_follower(request);
    if (!follower || wp_bytes_add_text(&follower->buffer, "retry: 3000\n\n"))
        return WP_NO_MEMORY;
    if (!read_topics(request, follower))
        return wp_fail(&request->error, WP_INVALID,
                       "topics must be a list such as section:12,fleet.");
    enum wp_status status = check_topics(sql, now, &request->who, follower);
    if (!status)
        status = wp_sql_int(sql, &follower->newest, "SELECT max(number) FROM event", "");
    return status;
}

static void begin_stream(struct wp_events *events, struct wp_request *request,
                         struct follower *follower, struct MHD_Response *response)
{
    request->state = NULL;
    request->state_free = NULL;
    follower->request = request;
    follower->events = events;
    follower->pinged_us = follower->checked_us = wp_clock_steady();
    read_number(request, follower);
    follower->next = events->followers;
    if (events->followers)
        events->followers->previous = follower;
    events->followers = follower;
    wp_reply_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, "text/event-stream");
    wp_reply_header(response, "X-Accel-Buffering", "no");
    wp_reply_response(request, MHD_HTTP_OK, response);
    wp_events_look(events);
}

void wp_serve_events(struct wp_request *request)
{
    struct wp_events *events = request->web->events;
    struct MHD_Response *response =
        events->ended ? NULL
                      : MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, 4096, on_read,
                                                          request->state, on_gone);
    if (response)
        begin_stream(events, request, request->state, response);
    else
        wp_reply_problem(request, WP_RETRY, NULL);
}

/* ---- the whole ---- */

struct wp_events *wp_events_new(struct wp_web *web)
{
    struct wp_events *events = calloc(1, sizeof *events);
    if (events)
        events->web = web;
    return events;
}

void wp_events_end(struct wp_events *events)
{
    events->ended = true;
    struct follower *next = NULL;
    for (struct follower *follower = events->followers; follower; follower = next) {
        next = follower->next;
        end_follower(follower);
    }
}

int wp_events_busy(const struct wp_events *events)
{
    return events->looking || events->checking > 0;
}

void wp_events_free(struct wp_events *events)
{
    free(events);
}
