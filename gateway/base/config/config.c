#include <stdlib.h>
#include <string.h>

#include "base/log.h"
#include "config_parts.h"

size_t config_find(const struct wp_config *config, const char *section, const char *name)
{
    size_t at = 0;
    while (at < config->count && (strcmp(config->keys[at].section, section) != 0 ||
                                  strcmp(config->keys[at].name, name) != 0))
        at++;
    return at;
}

static bool has_section(const struct wp_config *config, const char *section)
{
    for (size_t i = 0; i < config->count; i++)
        if (strcmp(config->keys[i].section, section) == 0)
            return true;
    return false;
}

static enum wp_status assign(struct wp_config *config, size_t at, const char *text,
                             struct wp_error *error)
{
    struct wp_error reason;
    int64_t number;
    const struct wp_config_key *key = &config->keys[at];
    enum wp_status status = config_parse(key, text, &number, &reason);
    if (status)
        return wp_fail(error, status, "[%s] %s %s", key->section, key->name, reason.text);
    char *copy = strdup(text);
    if (!copy)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the configuration");
    free(config->values[at].text);
    config->values[at].text = copy;
    config->values[at].number = number;
    return WP_OK;
}

enum wp_status wp_config_new(const struct wp_config_key *keys, size_t count,
                             struct wp_config **config, struct wp_error *error)
{
    *config = NULL;
    struct wp_config *made = calloc(1, sizeof *made + count * sizeof made->values[0]);
    if (!made)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the configuration");
    made->keys = keys;
    made->count = count;
    for (size_t i = 0; i < count; i++) {
        enum wp_status status = assign(made, i, keys[i].standard, error);
        if (status) {
            wp_config_free(made);
            return status;
        }
    }
    *config = made;
    return WP_OK;
}

enum wp_status wp_config_set(struct wp_config *config, const char *section, const char *name,
                             const char *value, struct wp_error *error)
{
    size_t at = config_find(config, section, name);
    if (at < config->count)
        return assign(config, at, value, error);
    if (!*section)
        return wp_fail(error, WP_INVALID, "\"%s\" stands before the first [section]", name);
    if (!has_section(config, section))
        return wp_fail(error, WP_INVALID, "there is no section [%s]", section);
    return wp_fail(error, WP_INVALID, "[%s] has no key \"%s\"", section, name);
}

/* The value of a key that the program itself names. */
static const struct config_value *own(const struct wp_config *config, const char *section,
                                      const char *name, bool text, bool boolean)
{
    size_t at = config_find(config, section, name);
    if (at == config->count || (config->keys[at].type == WP_CONFIG_TEXT) != text ||
        (config->keys[at].type == WP_CONFIG_BOOL) != boolean) {
        wp_log(WP_LOG_ERROR, "config", "the program asks for an unknown key [%s] %s", section,
               name);
        abort();
    }
    return &config->values[at];
}

const char *wp_config_text(const struct wp_config *config, const char *section, const char *name)
{
    return own(config, section, name, true, false)->text;
}

int64_t wp_config_int(const struct wp_config *config, const char *section, const char *name)
{
    return own(config, section, name, false, false)->number;
}

bool wp_config_bool(const struct wp_config *config, const char *section, const char *name)
{
    return own(config, section, name, false, true)->number != 0;
}

static enum wp_status describe_bounds(const struct wp_config_key *key, struct wp_bytes *out)
{
    if (key->type == WP_CONFIG_BOOL)
        return wp_bytes_add_text(out, "# yes or no\n");
    if (key->type == WP_CONFIG_TEXT)
        return WP_OK;
    enum wp_status status = wp_bytes_add_text(out, "# from ");
    if (!status)
        status = config_write_number(key, key->low, out);
    if (!status)
        status = wp_bytes_add_text(out, " to ");
    if (!status)
        status = config_write_number(key, key->high, out);
    return status ? status : wp_bytes_add_byte(out, '\n');
}

enum wp_status wp_config_describe(const struct wp_config_key *keys, size_t count,
                                  struct wp_bytes *out)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < count && !status; i++) {
        const struct wp_config_key *key = &keys[i];
        if (i == 0 || strcmp(keys[i - 1].section, key->section) != 0)
            status = wp_bytes_addf(out, "%s[%s]\n", i ? "\n" : "", key->section);
        if (!status)
            status = wp_bytes_addf(out, "\n# %s\n", key->help);
        if (!status)
            status = describe_bounds(key, out);
        if (!status)
            status = wp_bytes_addf(out, "%s = %s\n", key->name, key->standard);
    }
    return status;
}

void wp_config_free(struct wp_config *config)
{
    if (!config)
        return;
    for (size_t i = 0; i < config->count; i++)
        free(config->values[i].text);
    free(config);
}
