/* config_parts.h - what the files of this room share. */
#ifndef CONFIG_CONFIG_PARTS_H
#define CONFIG_CONFIG_PARTS_H

#include "base/config.h"

struct config_value {
    char *text;
    int64_t number;
    bool in_file; /* seen in the file that is being read */
};

struct wp_config {
    const struct wp_config_key *keys;
    size_t count;
    struct config_value values[];
};

/* Index of a key, or `count`. */
size_t config_find(const struct wp_config *config, const char *section, const char *name);

/* Checks `text` against a row and gives its number (0 for text). WP_INVALID with the reason. */
enum wp_status config_parse(const struct wp_config_key *key, const char *text, int64_t *number,
                            struct wp_error *error);

/* Writes a number in the largest unit of the key's type that leaves no remainder. */
enum wp_status config_write_number(const struct wp_config_key *key, int64_t number,
                                   struct wp_bytes *out);

#endif
