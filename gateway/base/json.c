#include "base/json.h"

#include <string.h>

#define DEEPEST 64

struct place {
    const char *at, *end;
};

static void skip_space(struct place *place)
{
    while (place->at < place->end && strchr(" \t\r\n", *place->at) && *place->at)
        place->at++;
}

/* Takes one character if it is that one; white space before it does not matter. */
static bool take(struct place *place, char what)
{
    skip_space(place);
    if (place->at >= place->end || *place->at != what)
        return false;
    place->at++;
    return true;
}

static bool string(struct place *place)
{
    if (!take(place, '"'))
        return false;
    for (; place->at < place->end; place->at++) {
        if (*place->at == '"') {
            place->at++;
            return true;
        }
        if (*place->at == '\\')
            place->at++;
    }
    return false;
}

static bool word(struct place *place)
{
    static const char *const words[] = {"true", "false", "null"};
    skip_space(place);
    size_t left = (size_t)(place->end - place->at);
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        size_t length = strlen(words[i]);
        if (left >= length && memcmp(place->at, words[i], length) == 0) {
            place->at += length;
            return true;
        }
    }
    const char *start = place->at;
    while (place->at < place->end && *place->at && strchr("+-.0123456789eE", *place->at))
        place->at++;
    return place->at > start;
}

static bool value(struct place *place, unsigned depth);

static bool members(struct place *place, char close, bool named, unsigned depth)
{
    if (take(place, close))
        return true;
    do {
        if (named && !(string(place) && take(place, ':')))
            return false;
        if (!value(place, depth + 1))
            return false;
    } while (take(place, ','));
    return take(place, close);
}

static bool value(struct place *place, unsigned depth)
{
    if (depth > DEEPEST)
        return false;
    if (take(place, '{'))
        return members(place, '}', true, depth);
    if (take(place, '['))
        return members(place, ']', false, depth);
    return string(place) || word(place);
}

bool wp_json_sound(const char *text, size_t size)
{
    struct place place = {text, text + size};
    bool sound = value(&place, 0);
    skip_space(&place);
    return sound && place.at == place.end;
}
