#include "capture_fields.h"

#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"

#define LARGEST 9007199254740992.0 /* what a JSON number holds exactly */

static bool whole(const cJSON *object, const char *name, int64_t *value)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    if (!cJSON_IsNumber(item) || fabs(item->valuedouble) > LARGEST ||
        floor(item->valuedouble) != item->valuedouble)
        return false;
    *value = (int64_t)item->valuedouble;
    return true;
}

static bool text(const cJSON *object, const char *name, char *out, size_t room)
{
    const char *value = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    if (!value || strlen(value) >= room)
        return false;
    snprintf(out, room, "%s", value);
    return true;
}

static bool digest(const cJSON *object, struct wp_intake *intake)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, "sha256");
    if (!item)
        return true;
    intake->has_expected =
        cJSON_IsString(item) && wp_hex_decode(item->valuestring, intake->expected, WP_SHA256_SIZE);
    return intake->has_expected;
}

enum wp_status wp_capture_object(const cJSON *object, struct wp_intake *intake,
                                 struct wp_error *error)
{
    const char *wrong = NULL;
    if (!whole(object, "number", &intake->number) || intake->number < 1)
        wrong = "number";
    else if (!text(object, "path", intake->path, sizeof intake->path) || !intake->path[0])
        wrong = "path";
    else if (!whole(object, "mtime_us", &intake->mtime_us))
        wrong = "mtime_us";
    else if (!whole(object, "captured_us", &intake->captured_us))
        wrong = "captured_us";
    else if (!whole(object, "steady_us", &intake->steady_us))
        wrong = "steady_us";
    else if (!text(object, "boot_id", intake->boot_id, sizeof intake->boot_id))
        wrong = "boot_id";
    else if (!digest(object, intake))
        wrong = "sha256";
    intake->backfill = cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(object, "backfill"));
    return wrong ? wp_fail(error, WP_INVALID, "The capture's %s is missing or malformed.", wrong)
                 : WP_OK;
}

enum wp_status wp_capture_field(const char *field, struct wp_intake *intake, struct wp_error *error)
{
    char json[WP_CAPTURE_FIELD_MOST];
    size_t size = 0;
    const char *end = NULL;
    size_t length = field ? strlen(field) : 0;
    if (!length ||
        sodium_base642bin((unsigned char *)json, sizeof json - 1, field, length, NULL, &size, &end,
                          sodium_base64_VARIANT_URLSAFE_NO_PADDING) != 0 ||
        end != field + length || !wp_utf8_valid(json, size) || memchr(json, '\0', size))
        return wp_fail(error, WP_INVALID,
                       "The field Wavepost-Capture is missing or is not base64url.");
    json[size] = '\0';
    cJSON *object = cJSON_ParseWithOpts(json, NULL, true);
    enum wp_status status =
        cJSON_IsObject(object)
            ? wp_capture_object(object, intake, error)
            : wp_fail(error, WP_INVALID, "The field Wavepost-Capture holds no JSON object.");
    cJSON_Delete(object);
    return status;
}
