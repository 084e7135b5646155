#include <string.h>

#include "parts.h"

#define BEAT_MOST (256 * 1024)

static void queue_put(struct writing *writing, const struct wp_wire_heartbeat *message)
{
    wire_open(writing, "queue", '{');
    wire_put_whole(writing, "count", message->queue_count);
    wire_put_whole(writing, "bytes", message->queue_bytes);
    if (message->has_oldest)
        wire_put_whole(writing, "oldest_us", message->oldest_us);
    else
        wire_put_null(writing, "oldest_us");
    wire_close(writing, '}');
    wire_open(writing, "spool", '{');
    wire_put_whole(writing, "limit", message->spool_limit);
    wire_put_flag(writing, "stopped", message->spool_stopped);
    wire_close(writing, '}');
}

enum wp_status wp_wire_heartbeat_put(const struct wp_wire_heartbeat *message, struct wp_bytes *out)
{
    struct writing writing = {.out = out, .first = true};
    if (message->folder_count > WP_WIRE_FOLDERS)
        return WP_INVALID;
    wire_open(&writing, NULL, '{');
    wire_put_text(&writing, "version", message->version);
    wire_put_whole(&writing, "time_us", message->time_us);
    wire_put_whole(&writing, "steady_us", message->steady_us);
    wire_put_text(&writing, "boot_id", message->boot_id);
    queue_put(&writing, message);
    wire_put_whole(&writing, "disk_free", message->disk_free);
    wire_open(&writing, "folders", '[');
    for (size_t i = 0; i < message->folder_count; i++) {
        wire_open(&writing, NULL, '{');
        wire_put_text(&writing, "path", message->folders[i].path);
        wire_put_flag(&writing, "ok", message->folders[i].ok);
        wire_put_text(&writing, "text", message->folders[i].text);
        wire_close(&writing, '}');
    }
    wire_close(&writing, ']');
    wire_put_ledger(&writing, &message->ledger);
    wire_put_whole(&writing, "refused", message->refused);
    wire_close(&writing, '}');
    return writing.status;
}

static void queue_get(struct reading *reading, struct wp_wire_heartbeat *message)
{
    const cJSON *queue = wire_object(reading, reading->root, "queue");
    message->queue_count = wire_whole(reading, queue, "count", 0);
    message->queue_bytes = wire_whole(reading, queue, "bytes", 0);
    message->oldest_us = 0;
    message->has_oldest =
        !queue || !cJSON_IsNull(cJSON_GetObjectItemCaseSensitive(queue, "oldest_us"));
    if (message->has_oldest)
        message->oldest_us = wire_whole(reading, queue, "oldest_us", INT64_MIN);
    const cJSON *spool = wire_object(reading, reading->root, "spool");
    message->spool_limit = wire_whole(reading, spool, "limit", 0);
    message->spool_stopped = wire_flag(reading, spool, "stopped");
}

static void folder_get(struct reading *reading, const cJSON *in, struct wp_wire_folder *folder)
{
    wire_text(reading, in, "path", folder->path, sizeof folder->path);
    folder->ok = wire_flag(reading, in, "ok");
    wire_text(reading, in, "text", folder->text, sizeof folder->text);
}

enum wp_status wp_wire_heartbeat_get(const char *json, size_t size,
                                     struct wp_wire_heartbeat *message, struct wp_error *error)
{
    struct reading reading;
    wire_begin(&reading, json, size, BEAT_MOST, error);
    const cJSON *root = reading.root;
    wire_text(&reading, root, "version", message->version, sizeof message->version);
    message->time_us = wire_whole(&reading, root, "time_us", INT64_MIN);
    message->steady_us = wire_whole(&reading, root, "steady_us", INT64_MIN);
    wire_text(&reading, root, "boot_id", message->boot_id, sizeof message->boot_id);
    queue_get(&reading, message);
    message->disk_free = wire_whole(&reading, root, "disk_free", 0);
    const cJSON *list = wire_array(&reading, root, "folders", WP_WIRE_FOLDERS);
    message->folder_count = 0;
    for (const cJSON *item = list ? list->child : NULL; item && !reading.status; item = item->next)
        folder_get(&reading, item, &message->folders[message->folder_count++]);
    wire_ledger(&reading, root, &message->ledger);
    message->refused = wire_whole(&reading, root, "refused", 0);
    return wire_end(&reading);
}

enum wp_status wp_wire_beaten_put(const struct wp_wire_beaten *message, struct wp_bytes *out)
{
    struct writing writing = {.out = out, .first = true};
    wire_open(&writing, NULL, '{');
    wire_put_whole(&writing, "time_us", message->time_us);
    wire_put_whole(&writing, "every_s", message->every_s);
    wire_put_flag(&writing, "paused", message->paused);
    wire_put_flag(&writing, "ledger_ok", message->ledger_ok);
    wire_close(&writing, '}');
    return writing.status;
}

enum wp_status wp_wire_beaten_get(const char *json, size_t size, struct wp_wire_beaten *message,
                                  struct wp_error *error)
{
    struct reading reading;
    wire_begin(&reading, json, size, BEAT_MOST, error);
    message->time_us = wire_whole(&reading, reading.root, "time_us", INT64_MIN);
    message->every_s = wire_whole(&reading, reading.root, "every_s", 1);
    message->paused = wire_flag(&reading, reading.root, "paused");
    message->ledger_ok = wire_flag(&reading, reading.root, "ledger_ok");
    return wire_end(&reading);
}

static const char *const event_names[WP_EVENT_KINDS] = {
    "other-file", "too-large",   "folder-lost", "folder-back", "overflow",
    "clock-jump", "spool-alarm", "spool-full",  "unreadable",
};

const char *wp_wire_event_name(enum wp_wire_event_kind kind)
{
    return event_names[kind];
}

enum wp_status wp_wire_events_put(const struct wp_wire_events *message, struct wp_bytes *out)
{
    struct writing writing = {.out = out, .first = true};
    if (message->count > WP_WIRE_EVENTS)
        return WP_INVALID;
    wire_open(&writing, NULL, '{');
    wire_open(&writing, "events", '[');
    for (size_t i = 0; i < message->count; i++) {
        const struct wp_wire_event *event = &message->events[i];
        if (event->kind >= WP_EVENT_KINDS)
            return WP_INVALID;
        wire_open(&writing, NULL, '{');
        wire_put_text(&writing, "kind", event_names[event->kind]);
        wire_put_whole(&writing, "at_us", event->at_us);
        wire_put_text(&writing, "text", event->text);
        wire_close(&writing, '}');
    }
    wire_close(&writing, ']');
    wire_close(&writing, '}');
    return writing.status;
}

static void event_get(struct reading *reading, const cJSON *in, struct wp_wire_event *event)
{
    char kind[32];
    wire_text(reading, in, "kind", kind, sizeof kind);
    event->kind = WP_EVENT_OTHER_FILE;
    while (event->kind < WP_EVENT_KINDS && strcmp(kind, event_names[event->kind]) != 0)
        event->kind++;
    if (!reading->status && event->kind == WP_EVENT_KINDS)
        wire_wrong(reading, "kind", "is none of the known kinds");
    event->at_us = wire_whole(reading, in, "at_us", INT64_MIN);
    wire_text(reading, in, "text", event->text, sizeof event->text);
}

enum wp_status wp_wire_events_get(const char *json, size_t size, struct wp_wire_events *message,
                                  struct wp_error *error)
{
    struct reading reading;
    wire_begin(&reading, json, size, BEAT_MOST, error);
    const cJSON *list = wire_array(&reading, reading.root, "events", WP_WIRE_EVENTS);
    message->count = 0;
    for (const cJSON *item = list ? list->child : NULL; item && !reading.status; item = item->next)
        event_get(&reading, item, &message->events[message->count++]);
    return wire_end(&reading);
}
