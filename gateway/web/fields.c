#include "fields.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/bytes.h"

static int hex_value(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

bool wp_percent_decode(const char *text, size_t length, bool plus, char *out, size_t *size)
{
    size_t used = 0;
    for (size_t i = 0; i < length; i++) {
        char c = text[i];
        if (c == '%') {
            if (length - i < 3)
                return false;
            int high = hex_value(text[i + 1]);
            int low = hex_value(text[i + 2]);
            if (high < 0 || low < 0)
                return false;
            c = (char)(high * 16 + low);
            i += 2;
        } else if (plus && c == '+') {
            c = ' ';
        }
        if (c == '\0')
            return false;
        out[used++] = c;
    }
    out[used] = '\0';
    *size = used;
    return wp_utf8_valid(out, used);
}

/* A name that comes again makes a list, as check boxes do. */
static enum wp_status add_field(cJSON *object, const char *name, const char *value)
{
    cJSON *before = cJSON_GetObjectItemCaseSensitive(object, name);
    if (!before)
        return cJSON_AddStringToObject(object, name, value) ? WP_OK : WP_NO_MEMORY;
    cJSON *item = cJSON_CreateString(value);
    if (!cJSON_IsArray(before)) {
        cJSON *list = cJSON_CreateArray();
        before = cJSON_DetachItemViaPointer(object, before);
        if (!cJSON_AddItemToArray(list, before))
            cJSON_Delete(before);
        before = list;
        if (!cJSON_AddItemToObject(object, name, list)) {
            cJSON_Delete(list);
            cJSON_Delete(item);
            return WP_NO_MEMORY;
        }
    }
    if (cJSON_AddItemToArray(before, item))
        return WP_OK;
    cJSON_Delete(item);
    return WP_NO_MEMORY;
}

/* One "name=value"; `copy` is ours to write into. */
static enum wp_status parse_field(char *copy, size_t length, cJSON *object)
{
    char *equals = memchr(copy, '=', length);
    size_t name_length = equals ? (size_t)(equals - copy) : length;
    char *value = equals ? equals + 1 : copy + length;
    size_t value_length = equals ? length - name_length - 1 : 0;
    size_t size = 0;
    if (!wp_percent_decode(value, value_length, true, value, &size))
        return WP_INVALID;
    if (!wp_percent_decode(copy, name_length, true, copy, &size))
        return WP_INVALID;
    return add_field(object, copy, value);
}

enum wp_status wp_form_parse(const char *text, size_t length, cJSON *object)
{
    char *copy = malloc(length + 1);
    if (!copy)
        return WP_NO_MEMORY;
    memcpy(copy, text, length);
    copy[length] = '\0';
    enum wp_status status = WP_OK;
    size_t fields = 0;
    for (size_t at = 0; at < length && !status;) {
        char *end = memchr(copy + at, '&', length - at);
        size_t part = end ? (size_t)(end - (copy + at)) : length - at;
        copy[at + part] = '\0';
        if (part > 0)
            status = ++fields > WP_FORM_FIELDS ? WP_INVALID : parse_field(copy + at, part, object);
        at += part + 1;
    }
    free(copy);
    return status;
}

bool wp_cookie_find(const char *field, const char *name, char *out, size_t room)
{
    size_t length = strlen(name);
    while (field && *field) {
        field += strspn(field, " \t;");
        size_t part = strcspn(field, ";");
        if (part > length && field[length] == '=' && !strncmp(field, name, length)) {
            size_t value = part - length - 1;
            while (value > 0 && (field[length + value] == ' ' || field[length + value] == '\t'))
                value--;
            if (value >= room)
                return false;
            memcpy(out, field + length + 1, value);
            out[value] = '\0';
            return true;
        }
        field += part;
    }
    return false;
}

bool wp_origin_is(const char *url, const char *host)
{
    const char *slashes = strstr(url, "://");
    if (!slashes)
        return false;
    const char *authority = slashes + 3;
    size_t length = strcspn(authority, "/?#");
    if (memchr(authority, '@', length))
        return false;
    return length == strlen(host) && !strncasecmp(authority, host, length);
}

bool wp_same_origin(const struct wp_origin_fields *fields, bool cookie)
{
    if (fields->fetch_site && strcmp(fields->fetch_site, "same-origin") != 0 &&
        strcmp(fields->fetch_site, "none") != 0)
        return false;
    if (fields->origin)
        return fields->host && wp_origin_is(fields->origin, fields->host);
    if (fields->fetch_site)
        return true;
    if (fields->referer)
        return fields->host && wp_origin_is(fields->referer, fields->host);
    return !cookie;
}

/* A name without folders, of printable characters, never empty. */
static void plain_name(const char *name, char *out, size_t room)
{
    const char *base = name;
    for (const char *at = name; *at; at++)
        if (*at == '/' || *at == '\\')
            base = at + 1;
    wp_text_clean(base, strlen(base), out, room);
    for (char *at = out; *at; at++)
        if (strchr("\"\\/:*?<>|;%", *at))
            *at = '_';
    if (out[0] == '.')
        out[0] = '_';
    if (out[0] == '\0')
        snprintf(out, room, "file");
}

static bool attribute_char(unsigned char c)
{
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
           (c && strchr("!#$&+-.^_`|~", c));
}

void wp_disposition(bool attachment, const char *name, char text[WP_DISPOSITION_ROOM])
{
    char plain[201];
    plain_name(name, plain, sizeof plain);
    char ascii[sizeof plain];
    char coded[3 * sizeof plain + 1];
    size_t a = 0;
    size_t c = 0;
    for (const unsigned char *at = (const unsigned char *)plain; *at; at++) {
        if (*at < 0x80)
            ascii[a++] = (char)*at;
        else if (*at >= 0xC0)
            ascii[a++] = '_';
        if (attribute_char(*at))
            coded[c++] = (char)*at;
        else
            c += (size_t)snprintf(coded + c, sizeof coded - c, "%%%02X", *at);
    }
    ascii[a] = '\0';
    coded[c] = '\0';
    snprintf(text, WP_DISPOSITION_ROOM, "%s; filename=\"%s\"; filename*=UTF-8''%s",
             attachment ? "attachment" : "inline", ascii, coded);
}
