#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "config_parts.h"

struct unit {
    const char *name;
    int64_t factor;
};

static const struct unit durations[] = {{"us", 1},          {"ms", 1000},   {"s", WP_SECOND},
                                        {"min", WP_MINUTE}, {"h", WP_HOUR}, {"d", WP_DAY}};
static const struct unit sizes[] = {
    {"B", 1}, {"KiB", 1024}, {"MiB", 1024 * 1024}, {"GiB", 1024 * 1024 * 1024}};
static const struct unit plain[] = {{"", 1}};

static const struct unit *units_of(enum wp_config_type type, size_t *count)
{
    switch (type) {
    case WP_CONFIG_DURATION:
        *count = sizeof durations / sizeof durations[0];
        return durations;
    case WP_CONFIG_SIZE:
        *count = sizeof sizes / sizeof sizes[0];
        return sizes;
    default:
        *count = 1;
        return plain;
    }
}

enum wp_status config_write_number(const struct wp_config_key *key, int64_t number,
                                   struct wp_bytes *out)
{
    size_t count;
    const struct unit *units = units_of(key->type, &count);
    size_t at = count - 1;
    while (at > 0 && (number == 0 || number % units[at].factor != 0))
        at--;
    const char *unit = count == 1 ? key->unit : units[at].name;
    return wp_bytes_addf(out, "%" PRId64 "%s%s", number / units[at].factor, *unit ? " " : "", unit);
}

/* "between 1 s and 2 min", for errors. */
static enum wp_status out_of_bounds(const struct wp_config_key *key, struct wp_error *error)
{
    struct wp_bytes bounds;
    wp_bytes_init(&bounds, 128);
    if (config_write_number(key, key->low, &bounds) || wp_bytes_add_text(&bounds, " and ") ||
        config_write_number(key, key->high, &bounds))
        wp_bytes_clear(&bounds);
    enum wp_status status =
        wp_fail(error, WP_INVALID, "must lie between %s", bounds.data ? bounds.data : "its bounds");
    wp_bytes_release(&bounds);
    return status;
}

static enum wp_status parse_text(const struct wp_config_key *key, const char *text,
                                 struct wp_error *error)
{
    size_t size = strlen(text);
    if (!wp_utf8_valid(text, size))
        return wp_fail(error, WP_INVALID, "is not UTF-8");
    for (size_t i = 0; i < size; i++)
        if ((unsigned char)text[i] < 0x20 || text[i] == 0x7F)
            return wp_fail(error, WP_INVALID, "holds a control character");
    if ((int64_t)size < key->low || (int64_t)size > key->high)
        return wp_fail(error, WP_INVALID, "must have %" PRId64 " to %" PRId64 " bytes", key->low,
                       key->high);
    return WP_OK;
}

static enum wp_status parse_bool(const char *text, int64_t *number, struct wp_error *error)
{
    *number = strcmp(text, "yes") == 0;
    if (!*number && strcmp(text, "no") != 0)
        return wp_fail(error, WP_INVALID, "must be yes or no");
    return WP_OK;
}

static enum wp_status wrong_form(const struct wp_config_key *key, struct wp_error *error)
{
    if (key->type == WP_CONFIG_DURATION)
        return wp_fail(error, WP_INVALID, "must be a whole number and us, ms, s, min, h or d");
    if (key->type == WP_CONFIG_SIZE)
        return wp_fail(error, WP_INVALID, "must be a whole number and B, KiB, MiB or GiB");
    return wp_fail(error, WP_INVALID, "must be a whole number");
}

static enum wp_status parse_number(const struct wp_config_key *key, const char *text,
                                   int64_t *number, struct wp_error *error)
{
    char *end;
    errno = 0;
    int64_t value = strtoll(text, &end, 10);
    bool digits =
        (*text >= '0' && *text <= '9') || (*text == '-' && text[1] >= '0' && text[1] <= '9');
    if (!digits)
        return wrong_form(key, error);
    bool beyond = errno == ERANGE;
    end += strspn(end, " ");
    size_t count;
    const struct unit *units = units_of(key->type, &count);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(end, units[i].name) != 0)
            continue;
        if (beyond || __builtin_mul_overflow(value, units[i].factor, number) ||
            *number < key->low || *number > key->high)
            return out_of_bounds(key, error);
        return WP_OK;
    }
    return wrong_form(key, error);
}

enum wp_status config_parse(const struct wp_config_key *key, const char *text, int64_t *number,
                            struct wp_error *error)
{
    *number = 0;
    switch (key->type) {
    case WP_CONFIG_TEXT:
        return parse_text(key, text, error);
    case WP_CONFIG_BOOL:
        return parse_bool(text, number, error);
    default:
        return parse_number(key, text, number, error);
    }
}
