/* wire/messages.h - the messages of schema/wire/agent.md as C structures, written and read.
 *
 * `put` functions append JSON to a buffer whose limit the caller chose: WP_TOO_LARGE past it,
 * WP_NO_MEMORY, or WP_INVALID for a value that may not travel (a text that is not UTF-8, a count
 * beyond its bound). `get` functions read one whole JSON document: UTF-8 without zero characters,
 * no member named twice, nothing after it, whole numbers between -2^53 and 2^53, every member that
 * the protocol names present and of its type; members that it does not name are passed over, so
 * that newer peers can say more. They fail with WP_INVALID (the error names the member) or
 * WP_TOO_LARGE, and then leave `*message` in an undefined state.
 *
 * All texts are zero-terminated inside the structures; nothing is allocated for the caller.
 * Thread: any. The larger structures (offer, heartbeat) belong on the heap.
 */
#ifndef WIRE_MESSAGES_H
#define WIRE_MESSAGES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/bytes.h"
#include "base/status.h"

#define WP_WIRE_HASH 65 /* 64 hexadecimal digits */
#define WP_WIRE_PATH 1025
#define WP_WIRE_TEXT 512
#define WP_WIRE_TOKEN 129
#define WP_WIRE_OFFERS 100
#define WP_WIRE_EVENTS 50
#define WP_WIRE_FOLDERS 16
#define WP_WIRE_FIELD 4097 /* Wavepost-Capture: at most 4096 characters */

/* The join string: https://HOST:PORT/join#CODE[:PIN]. */
struct wp_wire_join_string {
    char base[WP_WIRE_TEXT]; /* "https://host:port", no slash at the end */
    char code[32];
    char pin[64]; /* base64url of the key's SHA-256, 43 characters; "" if there is none */
};
/* WP_INVALID: not a join string; the error says which part. */
enum wp_status wp_wire_join_string_get(const char *text, struct wp_wire_join_string *join,
                                       struct wp_error *error);
enum wp_status wp_wire_join_string_put(const struct wp_wire_join_string *join,
                                       struct wp_bytes *out);
/* "sha256//..." as libcurl's pin wants it; `pin` must be a valid one. */
void wp_wire_pin_for_curl(const char *pin, char out[64]);

struct wp_wire_ledger {
    int64_t number;
    char hash[WP_WIRE_HASH];
};

struct wp_wire_join {
    char code[32];
    char version[32];
    char platform[32];
    int64_t time_us;
};
enum wp_status wp_wire_join_put(const struct wp_wire_join *message, struct wp_bytes *out);
enum wp_status wp_wire_join_get(const char *json, size_t size, struct wp_wire_join *message,
                                struct wp_error *error);

struct wp_wire_joined {
    char token[WP_WIRE_TOKEN];
    int64_t agent;
    int64_t instrument;
    char name[WP_WIRE_TEXT];
    char place[WP_WIRE_TEXT];
    struct wp_wire_ledger ledger;
};
enum wp_status wp_wire_joined_put(const struct wp_wire_joined *message, struct wp_bytes *out);
enum wp_status wp_wire_joined_get(const char *json, size_t size, struct wp_wire_joined *message,
                                  struct wp_error *error);

struct wp_wire_capture {
    int64_t number;
    char sha256[WP_WIRE_HASH]; /* in offers; "" in the Wavepost-Capture field */
    char path[WP_WIRE_PATH];
    int64_t mtime_us;
    int64_t captured_us;
    int64_t steady_us;
    char boot_id[48];
    bool backfill;
};
/* The path as it may travel: bytes that are not UTF-8 become U+FFFD, and of a path longer than
 * `most` bytes (at most WP_WIRE_PATH - 1) the end is kept, for there stands the file's name. */
void wp_wire_path(const char *path, size_t size, size_t most, char out[WP_WIRE_PATH]);
/* The Wavepost-Capture field's value. A path whose coding would not fit is cut at its front. */
enum wp_status wp_wire_capture_field_put(const struct wp_wire_capture *message,
                                         char out[WP_WIRE_FIELD]);
enum wp_status wp_wire_capture_field_get(const char *field, struct wp_wire_capture *message,
                                         struct wp_error *error);

struct wp_wire_receipt {
    int64_t number;
    char sha256[WP_WIRE_HASH];
    char receipt[128];
    bool known;
    bool removed; /* staff have removed these bytes: nothing is made of them; absent: false */
    struct wp_wire_ledger ledger;
};
enum wp_status wp_wire_receipt_put(const struct wp_wire_receipt *message, struct wp_bytes *out);
enum wp_status wp_wire_receipt_get(const char *json, size_t size, struct wp_wire_receipt *message,
                                   struct wp_error *error);

struct wp_wire_offer {
    size_t count;
    struct wp_wire_capture captures[WP_WIRE_OFFERS];
};
enum wp_status wp_wire_offer_put(const struct wp_wire_offer *message, struct wp_bytes *out);
enum wp_status wp_wire_offer_get(const char *json, size_t size, struct wp_wire_offer *message,
                                 struct wp_error *error);

struct wp_wire_offered {
    size_t receipt_count;
    struct wp_wire_receipt receipts[WP_WIRE_OFFERS];
    size_t wanted_count;
    int64_t wanted[WP_WIRE_OFFERS];
};
enum wp_status wp_wire_offered_put(const struct wp_wire_offered *message, struct wp_bytes *out);
enum wp_status wp_wire_offered_get(const char *json, size_t size, struct wp_wire_offered *message,
                                   struct wp_error *error);

struct wp_wire_folder {
    char path[WP_WIRE_PATH];
    bool ok;
    char text[WP_WIRE_TEXT];
};
struct wp_wire_heartbeat {
    char version[32];
    int64_t time_us;
    int64_t steady_us;
    char boot_id[48];
    int64_t queue_count;
    int64_t queue_bytes;
    bool has_oldest; /* false: "oldest_us" is null */
    int64_t oldest_us;
    int64_t spool_limit;
    bool spool_stopped;
    int64_t disk_free;
    size_t folder_count;
    struct wp_wire_folder folders[WP_WIRE_FOLDERS];
    struct wp_wire_ledger ledger;
    int64_t refused;
};
enum wp_status wp_wire_heartbeat_put(const struct wp_wire_heartbeat *message, struct wp_bytes *out);
enum wp_status wp_wire_heartbeat_get(const char *json, size_t size,
                                     struct wp_wire_heartbeat *message, struct wp_error *error);

struct wp_wire_beaten {
    int64_t time_us;
    int64_t every_s;
    bool paused;
    bool ledger_ok;
};
enum wp_status wp_wire_beaten_put(const struct wp_wire_beaten *message, struct wp_bytes *out);
enum wp_status wp_wire_beaten_get(const char *json, size_t size, struct wp_wire_beaten *message,
                                  struct wp_error *error);

enum wp_wire_event_kind {
    WP_EVENT_OTHER_FILE,
    WP_EVENT_TOO_LARGE,
    WP_EVENT_FOLDER_LOST,
    WP_EVENT_FOLDER_BACK,
    WP_EVENT_OVERFLOW,
    WP_EVENT_CLOCK_JUMP,
    WP_EVENT_SPOOL_ALARM,
    WP_EVENT_SPOOL_FULL,
    WP_EVENT_UNREADABLE,
    WP_EVENT_KINDS
};
struct wp_wire_event {
    enum wp_wire_event_kind kind;
    int64_t at_us;
    char text[WP_WIRE_TEXT];
};
struct wp_wire_events {
    size_t count;
    struct wp_wire_event events[WP_WIRE_EVENTS];
};
/* "other-file" and so on; never NULL for a valid kind. */
const char *wp_wire_event_name(enum wp_wire_event_kind kind);
enum wp_status wp_wire_events_put(const struct wp_wire_events *message, struct wp_bytes *out);
enum wp_status wp_wire_events_get(const char *json, size_t size, struct wp_wire_events *message,
                                  struct wp_error *error);

/* What a problem document (RFC 9457) says for a log: its detail, else its title, on one line; ""
 * if it is not one. */
void wp_wire_problem_text(const char *json, size_t size, char out[WP_WIRE_TEXT]);

#endif
