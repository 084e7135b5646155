/* cli.h - the `wavepost` command: what its verbs share. Private to the room.
 *
 * Exit codes: 0 done; 1 it could not be done, the reason is on standard error; 2 wrong usage.
 */
#ifndef CLI_H
#define CLI_H

#include <stdbool.h>
#include <stddef.h>

#include <cjson/cJSON.h>

#include "base/bytes.h"
#include "base/status.h"

enum { WP_EXIT_DONE = 0, WP_EXIT_FAILED = 1, WP_EXIT_USAGE = 2 };

/* What stands on the command line: options anywhere, the rest in order. */
struct wp_option {
    const char *name;  /* without the dashes */
    bool flag;         /* takes no value */
    const char *value; /* NULL: not given; "" for a flag that is given */
};

struct wp_words {
    struct wp_option *options; /* ends with a NULL name */
    const char **words;        /* after the verb; borrowed from argv */
    size_t count;
};

/* Sorts argv[from..] into options and words. False, with a message, for an unknown option, a
 * missing value, or more than `most` words. `--` ends the options. */
bool wp_words_parse(int argc, char **argv, int from, struct wp_words *words, size_t most);
const char *wp_words_value(const struct wp_words *words, const char *name);

/* Prints "wavepost: TEXT" on standard error and returns WP_EXIT_FAILED. */
int wp_cli_fail(const char *format, ...) __attribute__((format(printf, 1, 2)));
int wp_cli_usage(const char *text);

/* A whole file of at most `limit` bytes. WP_NOT_FOUND, WP_TOO_LARGE, WP_IO, with words in `error`.
 */
enum wp_status wp_cli_load(const char *path, size_t limit, struct wp_bytes *out,
                           struct wp_error *error);
/* Writes beside `path` and renames, so that a failure leaves what stood there. */
enum wp_status wp_cli_save(const char *path, const void *data, size_t size, struct wp_error *error);

/* Asks the gateway that runs in `folder`, or, where none runs, the database itself: the request is
 * that of the JSON API. `body` may be NULL and stays the caller's. `*answer` (may be NULL) is the
 * caller's to delete. Returns an exit code; failures have been printed. */
int wp_cli_call(const char *folder, const char *method, const char *path, const cJSON *body,
                cJSON **answer);

/* The verbs; each gets the words after it. */
int wp_cli_inspect(int argc, char **argv);
int wp_cli_sheet(int argc, char **argv);
int wp_cli_convert(int argc, char **argv);
int wp_cli_verify(int argc, char **argv);
int wp_cli_set_up(int argc, char **argv);

#endif
