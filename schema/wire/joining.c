#include "parts.h"

#define JOIN_MOST 16384

enum wp_status wp_wire_join_put(const struct wp_wire_join *message, struct wp_bytes *out)
{
    struct writing writing = {.out = out, .first = true};
    wire_open(&writing, NULL, '{');
    wire_put_text(&writing, "code", message->code);
    wire_put_text(&writing, "version", message->version);
    wire_put_text(&writing, "platform", message->platform);
    wire_put_whole(&writing, "time_us", message->time_us);
    wire_close(&writing, '}');
    return writing.status;
}

enum wp_status wp_wire_join_get(const char *json, size_t size, struct wp_wire_join *message,
                                struct wp_error *error)
{
    struct reading reading;
    wire_begin(&reading, json, size, JOIN_MOST, error);
    wire_text(&reading, reading.root, "code", message->code, sizeof message->code);
    wire_text(&reading, reading.root, "version", message->version, sizeof message->version);
    wire_text(&reading, reading.root, "platform", message->platform, sizeof message->platform);
    message->time_us = wire_whole(&reading, reading.root, "time_us", INT64_MIN);
    return wire_end(&reading);
}

enum wp_status wp_wire_joined_put(const struct wp_wire_joined *message, struct wp_bytes *out)
{
    struct writing writing = {.out = out, .first = true};
    wire_open(&writing, NULL, '{');
    wire_put_text(&writing, "token", message->token);
    wire_put_whole(&writing, "agent", message->agent);
    wire_open(&writing, "instrument", '{');
    wire_put_whole(&writing, "id", message->instrument);
    wire_put_text(&writing, "name", message->name);
    wire_put_text(&writing, "place", message->place);
    wire_close(&writing, '}');
    wire_put_ledger(&writing, &message->ledger);
    wire_close(&writing, '}');
    return writing.status;
}

enum wp_status wp_wire_joined_get(const char *json, size_t size, struct wp_wire_joined *message,
                                  struct wp_error *error)
{
    struct reading reading;
    wire_begin(&reading, json, size, JOIN_MOST, error);
    wire_text(&reading, reading.root, "token", message->token, sizeof message->token);
    message->agent = wire_whole(&reading, reading.root, "agent", 1);
    const cJSON *instrument = wire_object(&reading, reading.root, "instrument");
    message->instrument = wire_whole(&reading, instrument, "id", 1);
    wire_text(&reading, instrument, "name", message->name, sizeof message->name);
    wire_text(&reading, instrument, "place", message->place, sizeof message->place);
    wire_ledger(&reading, reading.root, &message->ledger);
    return wire_end(&reading);
}
