#include <stdio.h>
#include <string.h>

#include "base/json.h"
#include "parts.h"

#define LARGEST 9007199254740992.0 /* what every reader of JSON numbers holds exactly */
#define DEEPEST 8
#define MOST_MEMBERS 64

void wire_wrong(struct reading *reading, const char *name, const char *why)
{
    if (!reading->status)
        reading->status = wp_fail(reading->error, WP_INVALID, "member \"%s\" %s", name, why);
}

/* cJSON turns \u0000 into the end of a text; such texts are refused before it sees them. */
static bool has_zero(const char *json, size_t size)
{
    if (memchr(json, '\0', size))
        return true;
    for (size_t i = 0; i + 5 < size; i++) {
        if (json[i] != '\\')
            continue;
        if (!memcmp(json + i, "\\u0000", 6))
            return true;
        i++;
    }
    return false;
}

static bool named_twice(const cJSON *object)
{
    size_t count = 0;
    for (const cJSON *member = object->child; member; member = member->next) {
        if (++count > MOST_MEMBERS)
            return true;
        for (const cJSON *other = object->child; other != member; other = other->next)
            if (!strcmp(other->string, member->string))
                return true;
    }
    return false;
}

static bool well_formed(const cJSON *item, unsigned depth)
{
    if (!item || depth > DEEPEST || (cJSON_IsObject(item) && named_twice(item)))
        return false;
    for (const cJSON *child = item->child; child; child = child->next)
        if (!well_formed(child, depth + 1))
            return false;
    return true;
}

void wire_begin(struct reading *reading, const char *json, size_t size, size_t most,
                struct wp_error *error)
{
    *reading = (struct reading){.error = error};
    if (size > most)
        reading->status = wp_fail(error, WP_TOO_LARGE, "the message has more than %zu bytes", most);
    else if (!wp_utf8_valid(json, size) || has_zero(json, size))
        reading->status = wp_fail(error, WP_INVALID, "the message is not UTF-8 text");
    if (reading->status)
        return;
    const char *end = NULL;
    reading->root = cJSON_ParseWithLengthOpts(json, size, &end, false);
    if (!reading->root && wp_json_sound(json, size))
        reading->status = wp_fail(error, WP_NO_MEMORY, "there was no memory to read the message");
    if (reading->status)
        return;
    while (reading->root && end < json + size && strchr(" \t\r\n", *end))
        end++;
    if (!reading->root || !cJSON_IsObject(reading->root) || end != json + size ||
        !well_formed(reading->root, 0))
        reading->status = wp_fail(error, WP_INVALID, "the message is not one sound JSON object");
}

enum wp_status wire_end(struct reading *reading)
{
    cJSON_Delete(reading->root);
    return reading->status;
}

static const cJSON *member(struct reading *reading, const cJSON *in, const char *name)
{
    if (reading->status)
        return NULL;
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(in, name);
    if (!item)
        wire_wrong(reading, name, "is missing");
    return item;
}

const cJSON *wire_object(struct reading *reading, const cJSON *in, const char *name)
{
    const cJSON *item = member(reading, in, name);
    if (item && !cJSON_IsObject(item))
        wire_wrong(reading, name, "is not an object");
    return reading->status ? NULL : item;
}

const cJSON *wire_array(struct reading *reading, const cJSON *in, const char *name, size_t most)
{
    const cJSON *item = member(reading, in, name);
    if (item && !cJSON_IsArray(item))
        wire_wrong(reading, name, "is not an array");
    else if (item && (size_t)cJSON_GetArraySize(item) > most)
        wire_wrong(reading, name, "has too many elements");
    return reading->status ? NULL : item;
}

int64_t wire_whole(struct reading *reading, const cJSON *in, const char *name, int64_t least)
{
    const cJSON *item = member(reading, in, name);
    if (!item)
        return 0;
    double value = item->valuedouble;
    if (!cJSON_IsNumber(item) || !(value >= -LARGEST && value <= LARGEST) ||
        (double)(int64_t)value != value) {
        wire_wrong(reading, name, "is not a whole number");
        return 0;
    }
    if ((int64_t)value < least)
        wire_wrong(reading, name, "is too small");
    return (int64_t)value;
}

bool wire_flag(struct reading *reading, const cJSON *in, const char *name)
{
    const cJSON *item = member(reading, in, name);
    if (item && !cJSON_IsBool(item))
        wire_wrong(reading, name, "is neither true nor false");
    return cJSON_IsTrue(item);
}

void wire_text(struct reading *reading, const cJSON *in, const char *name, char *out, size_t room)
{
    const cJSON *item = member(reading, in, name);
    out[0] = '\0';
    if (!item)
        return;
    if (!cJSON_IsString(item))
        wire_wrong(reading, name, "is not a text");
    else if (strlen(item->valuestring) >= room)
        wire_wrong(reading, name, "is too long");
    else
        memcpy(out, item->valuestring, strlen(item->valuestring) + 1);
}

void wire_hash(struct reading *reading, const cJSON *in, const char *name, char out[WP_WIRE_HASH])
{
    unsigned char bytes[32];
    wire_text(reading, in, name, out, WP_WIRE_HASH);
    if (!reading->status && !wp_hex_decode(out, bytes, sizeof bytes))
        wire_wrong(reading, name, "is not 64 hexadecimal digits");
}

void wire_ledger(struct reading *reading, const cJSON *in, struct wp_wire_ledger *ledger)
{
    const cJSON *object = wire_object(reading, in, "ledger");
    ledger->number = wire_whole(reading, object, "number", 0);
    wire_hash(reading, object, "hash", ledger->hash);
}

void wp_wire_problem_text(const char *json, size_t size, char out[WP_WIRE_TEXT])
{
    struct reading reading;
    out[0] = '\0';
    wire_begin(&reading, json, size, 65536, NULL);
    if (!reading.status) {
        const char *text =
            cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(reading.root, "detail"));
        if (!text)
            text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(reading.root, "title"));
        if (text)
            wp_text_clean(text, strlen(text), out, WP_WIRE_TEXT);
    }
    (void)wire_end(&reading);
}
