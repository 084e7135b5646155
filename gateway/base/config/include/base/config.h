/* base/config.h - a configuration file (INI) whose keys are stated in one table.
 *
 * The table says for each key its section, name, type, bounds and default; everything else in a
 * file is an error, so a misspelt key is never silently ignored. Lines hold at most 198 bytes; '#'
 * or ';' begins a comment line, a blank and ';' a comment after a value. Values are written so:
 *
 *   text      as it stands, UTF-8, bounds on its length in bytes
 *   int       a decimal whole number
 *   bool      yes or no
 *   duration  a whole number and us, ms, s, min, h or d: "90 s"; kept in microseconds
 *   size      a whole number and B, KiB, MiB or GiB: "64 KiB"; kept in bytes
 *
 * Thread: one thread fills a configuration; afterwards any thread may read it.
 */
#ifndef BASE_CONFIG_H
#define BASE_CONFIG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/bytes.h"
#include "base/status.h"

enum wp_config_type {
    WP_CONFIG_TEXT,
    WP_CONFIG_INT,
    WP_CONFIG_BOOL,
    WP_CONFIG_DURATION,
    WP_CONFIG_SIZE
};

/* One row of the table. `low` and `high` are inclusive, in the unit the value is kept in; not used
 * for bool. All texts are borrowed for the life of the configuration. */
struct wp_config_key {
    const char *section;
    const char *name;
    enum wp_config_type type;
    int64_t low;
    int64_t high;
    const char *standard; /* the default, written as in a file */
    const char *unit;     /* what an int counts ("jobs"), for the description; "" if plain */
    const char *help;     /* one sentence for the administrator */
};

struct wp_config;

/* A configuration of defaults. WP_INVALID: a default of the table breaks its own row.
 * WP_NO_MEMORY. The caller frees `*config`. */
enum wp_status wp_config_new(const struct wp_config_key *keys, size_t count,
                             struct wp_config **config, struct wp_error *error);

/* Reads a file over what is there. The error's text names the file, the line and the reason, and
 * `line` is set. WP_INVALID (unknown section or key, bad value, a key given twice, a line that is
 * no setting), WP_NOT_FOUND (no such file), WP_IO, WP_TOO_LARGE (more than 10,000 lines). After an
 * error the configuration may hold a part of the file: do not use it. */
enum wp_status wp_config_read(struct wp_config *config, const char *path, struct wp_error *error);

/* Sets one value, as from the command line. WP_INVALID, WP_NO_MEMORY. */
enum wp_status wp_config_set(struct wp_config *config, const char *section, const char *name,
                             const char *value, struct wp_error *error);

/* The value of a key; `_int` for int, duration and size. Asking for a key that the table does not
 * hold, or as another type, is a mistake in the program and aborts. Text lives until the
 * configuration is freed or the key is set again. */
const char *wp_config_text(const struct wp_config *config, const char *section, const char *name);
int64_t wp_config_int(const struct wp_config *config, const char *section, const char *name);
bool wp_config_bool(const struct wp_config *config, const char *section, const char *name);

/* Appends a complete file with every key at its default and its help and bounds as comments.
 * Errors as wp_bytes_add. */
enum wp_status wp_config_describe(const struct wp_config_key *keys, size_t count,
                                  struct wp_bytes *out);

/* NULL is harmless. */
void wp_config_free(struct wp_config *config);

#endif
