#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "parts.h"

#define FIELD_MOST (WP_WIRE_FIELD - 1)
#define OFFER_MOST (1024 * 1024)

void wp_wire_path(const char *path, size_t size, size_t most, char out[WP_WIRE_PATH])
{
    static const char replacement[] = "\xEF\xBF\xBD";
    struct wp_bytes clean;
    wp_bytes_init(&clean, size * 3);
    for (size_t at = 0; at < size;) {
        size_t length = 1;
        while (length <= 4 && at + length <= size && !wp_utf8_valid(path + at, length))
            length++;
        bool good = length <= 4 && at + length <= size;
        if (wp_bytes_add(&clean, good ? path + at : replacement, good ? length : 3))
            break;
        at += good ? length : 1;
    }
    size_t from = clean.size > most ? clean.size - most : 0;
    while (from < clean.size && ((unsigned char)clean.data[from] & 0xC0) == 0x80)
        from++;
    if (clean.size > from)
        memcpy(out, clean.data + from, clean.size - from);
    out[clean.size - from] = '\0';
    wp_bytes_release(&clean);
}

void wire_capture_put(struct writing *writing, const struct wp_wire_capture *message)
{
    wire_open(writing, NULL, '{');
    wire_put_whole(writing, "number", message->number);
    if (message->sha256[0])
        wire_put_text(writing, "sha256", message->sha256);
    wire_put_text(writing, "path", message->path);
    wire_put_whole(writing, "mtime_us", message->mtime_us);
    wire_put_whole(writing, "captured_us", message->captured_us);
    wire_put_whole(writing, "steady_us", message->steady_us);
    wire_put_text(writing, "boot_id", message->boot_id);
    wire_put_flag(writing, "backfill", message->backfill);
    wire_close(writing, '}');
}

void wire_capture_get(struct reading *reading, const cJSON *in, bool with_digest,
                      struct wp_wire_capture *message)
{
    message->sha256[0] = '\0';
    if (!reading->status && !cJSON_IsObject(in))
        wire_wrong(reading, "captures", "holds something that is not an object");
    message->number = wire_whole(reading, in, "number", 1);
    if (with_digest)
        wire_hash(reading, in, "sha256", message->sha256);
    wire_text(reading, in, "path", message->path, sizeof message->path);
    message->mtime_us = wire_whole(reading, in, "mtime_us", INT64_MIN);
    message->captured_us = wire_whole(reading, in, "captured_us", INT64_MIN);
    message->steady_us = wire_whole(reading, in, "steady_us", INT64_MIN);
    wire_text(reading, in, "boot_id", message->boot_id, sizeof message->boot_id);
    message->backfill = wire_flag(reading, in, "backfill");
    if (!reading->status && !message->path[0])
        wire_wrong(reading, "path", "is empty");
}

static size_t base64_size(size_t size)
{
    return sodium_base64_ENCODED_LEN(size, sodium_base64_VARIANT_URLSAFE_NO_PADDING) - 1;
}

enum wp_status wp_wire_capture_field_put(const struct wp_wire_capture *message,
                                         char out[WP_WIRE_FIELD])
{
    struct wp_wire_capture shorter = *message;
    struct wp_bytes json;
    struct writing writing;
    wp_bytes_init(&json, WP_WIRE_PATH * 6 + 1024);
    shorter.sha256[0] = '\0';
    do {
        wp_bytes_clear(&json);
        writing = (struct writing){.out = &json, .first = true};
        wire_capture_put(&writing, &shorter);
        if (writing.status || base64_size(json.size) <= FIELD_MOST)
            break;
        wp_wire_path(message->path, strlen(message->path), strlen(shorter.path) * 3 / 4,
                     shorter.path);
    } while (shorter.path[0]);
    enum wp_status status = writing.status;
    if (!status && base64_size(json.size) > FIELD_MOST)
        status = WP_TOO_LARGE;
    if (!status)
        sodium_bin2base64(out, WP_WIRE_FIELD, (const unsigned char *)json.data, json.size,
                          sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    wp_bytes_release(&json);
    return status;
}

enum wp_status wp_wire_capture_field_get(const char *field, struct wp_wire_capture *message,
                                         struct wp_error *error)
{
    char json[WP_WIRE_FIELD];
    size_t size = 0;
    const char *end = NULL;
    size_t length = strlen(field);
    if (length > FIELD_MOST)
        return wp_fail(error, WP_TOO_LARGE, "the field has more than %d characters", FIELD_MOST);
    if (sodium_base642bin((unsigned char *)json, sizeof json, field, length, NULL, &size, &end,
                          sodium_base64_VARIANT_URLSAFE_NO_PADDING) ||
        end != field + length)
        return wp_fail(error, WP_INVALID, "the field is not base64url");
    struct reading reading;
    wire_begin(&reading, json, size, sizeof json, error);
    wire_capture_get(&reading, reading.root, false, message);
    return wire_end(&reading);
}

static void receipt_put(struct writing *writing, const struct wp_wire_receipt *message)
{
    wire_open(writing, NULL, '{');
    wire_put_whole(writing, "number", message->number);
    wire_put_text(writing, "sha256", message->sha256);
    wire_put_text(writing, "receipt", message->receipt);
    wire_put_flag(writing, "known", message->known);
    if (message->removed)
        wire_put_flag(writing, "removed", true);
    wire_put_ledger(writing, &message->ledger);
    wire_close(writing, '}');
}

static void receipt_get(struct reading *reading, const cJSON *in, struct wp_wire_receipt *message)
{
    message->number = wire_whole(reading, in, "number", 1);
    wire_hash(reading, in, "sha256", message->sha256);
    wire_text(reading, in, "receipt", message->receipt, sizeof message->receipt);
    message->known = wire_flag(reading, in, "known");
    message->removed = cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(in, "removed"));
    wire_ledger(reading, in, &message->ledger);
}

enum wp_status wp_wire_receipt_put(const struct wp_wire_receipt *message, struct wp_bytes *out)
{
    struct writing writing = {.out = out, .first = true};
    receipt_put(&writing, message);
    return writing.status;
}

enum wp_status wp_wire_receipt_get(const char *json, size_t size, struct wp_wire_receipt *message,
                                   struct wp_error *error)
{
    struct reading reading;
    wire_begin(&reading, json, size, 65536, error);
    receipt_get(&reading, reading.root, message);
    return wire_end(&reading);
}

enum wp_status wp_wire_offer_put(const struct wp_wire_offer *message, struct wp_bytes *out)
{
    struct writing writing = {.out = out, .first = true};
    if (message->count > WP_WIRE_OFFERS)
        return WP_INVALID;
    wire_open(&writing, NULL, '{');
    wire_open(&writing, "captures", '[');
    for (size_t i = 0; i < message->count; i++)
        wire_capture_put(&writing, &message->captures[i]);
    wire_close(&writing, ']');
    wire_close(&writing, '}');
    return writing.status;
}

enum wp_status wp_wire_offer_get(const char *json, size_t size, struct wp_wire_offer *message,
                                 struct wp_error *error)
{
    struct reading reading;
    wire_begin(&reading, json, size, OFFER_MOST, error);
    const cJSON *list = wire_array(&reading, reading.root, "captures", WP_WIRE_OFFERS);
    message->count = 0;
    for (const cJSON *item = list ? list->child : NULL; item && !reading.status; item = item->next)
        wire_capture_get(&reading, item, true, &message->captures[message->count++]);
    return wire_end(&reading);
}

enum wp_status wp_wire_offered_put(const struct wp_wire_offered *message, struct wp_bytes *out)
{
    struct writing writing = {.out = out, .first = true};
    if (message->receipt_count > WP_WIRE_OFFERS || message->wanted_count > WP_WIRE_OFFERS)
        return WP_INVALID;
    wire_open(&writing, NULL, '{');
    wire_open(&writing, "receipts", '[');
    for (size_t i = 0; i < message->receipt_count; i++)
        receipt_put(&writing, &message->receipts[i]);
    wire_close(&writing, ']');
    wire_open(&writing, "wanted", '[');
    for (size_t i = 0; i < message->wanted_count; i++)
        wire_put_whole(&writing, NULL, message->wanted[i]);
    wire_close(&writing, ']');
    wire_close(&writing, '}');
    return writing.status;
}

static int64_t wanted_number(struct reading *reading, const cJSON *item)
{
    double value = item->valuedouble;
    if (!cJSON_IsNumber(item) || !(value >= 1 && value <= 9007199254740992.0) ||
        value != (double)(int64_t)value) {
        wire_wrong(reading, "wanted", "holds something that is not a capture's number");
        return 0;
    }
    return (int64_t)value;
}

enum wp_status wp_wire_offered_get(const char *json, size_t size, struct wp_wire_offered *message,
                                   struct wp_error *error)
{
    struct reading reading;
    wire_begin(&reading, json, size, OFFER_MOST, error);
    const cJSON *list = wire_array(&reading, reading.root, "receipts", WP_WIRE_OFFERS);
    message->receipt_count = message->wanted_count = 0;
    for (const cJSON *item = list ? list->child : NULL; item && !reading.status; item = item->next)
        receipt_get(&reading, item, &message->receipts[message->receipt_count++]);
    list = wire_array(&reading, reading.root, "wanted", WP_WIRE_OFFERS);
    for (const cJSON *item = list ? list->child : NULL; item && !reading.status; item = item->next)
        message->wanted[message->wanted_count++] = wanted_number(&reading, item);
    return wire_end(&reading);
}
