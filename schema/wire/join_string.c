#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "wire/messages.h"

#define PIN_LENGTH 43

static bool pin_usable(const char *pin)
{
    unsigned char hash[32];
    size_t size = 0;
    const char *end = NULL;
    return strlen(pin) == PIN_LENGTH &&
           !sodium_base642bin(hash, sizeof hash, pin, PIN_LENGTH, NULL, &size, &end,
                              sodium_base64_VARIANT_URLSAFE_NO_PADDING) &&
           size == sizeof hash && end == pin + PIN_LENGTH;
}

static bool code_usable(const char *code, size_t size)
{
    static const char usable[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-";
    return size >= 4 && size < 32 && strspn(code, usable) >= size;
}

static bool base_usable(const char *text, size_t size)
{
    static const char usable[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._:[]";
    return size > 8 && size < WP_WIRE_TEXT && !memcmp(text, "https://", 8) &&
           strspn(text + 8, usable) >= size - 8;
}

enum wp_status wp_wire_join_string_get(const char *text, struct wp_wire_join_string *join,
                                       struct wp_error *error)
{
    const char *path = strstr(text, "/join#");
    *join = (struct wp_wire_join_string){.pin = ""};
    if (!path || !base_usable(text, (size_t)(path - text)))
        return wp_fail(error, WP_INVALID,
                       "the join string does not begin with https://HOST:PORT/join#");
    const char *code = path + strlen("/join#");
    size_t length = strcspn(code, ":");
    if (!code_usable(code, length))
        return wp_fail(error, WP_INVALID, "the join string's code is malformed");
    memcpy(join->base, text, (size_t)(path - text));
    memcpy(join->code, code, length);
    if (!code[length])
        return WP_OK;
    if (!pin_usable(code + length + 1))
        return wp_fail(error, WP_INVALID,
                       "the join string's pin is malformed; was all of the word copied?");
    memcpy(join->pin, code + length + 1, PIN_LENGTH + 1);
    return WP_OK;
}

enum wp_status wp_wire_join_string_put(const struct wp_wire_join_string *join, struct wp_bytes *out)
{
    if (!base_usable(join->base, strlen(join->base)) ||
        !code_usable(join->code, strlen(join->code)) || (join->pin[0] && !pin_usable(join->pin)))
        return WP_INVALID;
    return wp_bytes_addf(out, "%s/join#%s%s%s", join->base, join->code, join->pin[0] ? ":" : "",
                         join->pin);
}

void wp_wire_pin_for_curl(const char *pin, char out[64])
{
    snprintf(out, 64, "sha256//%s=", pin);
    for (char *c = out + strlen("sha256//"); *c; c++)
        *c = (char)(*c == '-' ? '+' : *c == '_' ? '/' : *c);
}
