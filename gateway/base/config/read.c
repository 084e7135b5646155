#include <errno.h>
#include <ini.h>
#include <stdio.h>
#include <string.h>

#include "config_parts.h"

#define LINES_MOST 10000

struct reading {
    struct wp_config *config;
    const char *path;
    FILE *file;
    long line;
    struct wp_error *error;
    enum wp_status status;
};

static void refuse(struct reading *reading, enum wp_status status, const char *reason)
{
    if (!reading->status)
        reading->status = wp_fail_at(reading->error, status, reading->line, 0, "%s, line %ld: %s",
                                     reading->path, reading->line, reason);
}

/* Drops blanks before a line: the parser would take an indented line as more of the value above. */
static void unindent(char *text)
{
    size_t blanks = strspn(text, " \t");
    if (blanks)
        memmove(text, text + blanks, strlen(text + blanks) + 1);
}

/* Hands the parser one line at a time, which is also how the line number is known. */
static char *next_line(char *text, int room, void *arg)
{
    struct reading *reading = arg;
    if (reading->status || !fgets(text, room, reading->file))
        return NULL;
    reading->line++;
    size_t length = strlen(text);
    if (reading->line > LINES_MOST)
        refuse(reading, WP_TOO_LARGE, "the file has too many lines");
    else if (length && text[length - 1] != '\n' && !feof(reading->file))
        refuse(reading, WP_INVALID, "the line is too long, or holds a zero byte");
    if (reading->status)
        return NULL;
    unindent(text);
    return text;
}

static int take(void *arg, const char *section, const char *name, const char *value)
{
    struct reading *reading = arg;
    struct wp_config *config = reading->config;
    if (reading->status)
        return 0;
    size_t at = config_find(config, section, name);
    if (at < config->count && config->values[at].in_file) {
        refuse(reading, WP_INVALID, "this key was given before");
        return 0;
    }
    struct wp_error reason;
    enum wp_status status = wp_config_set(config, section, name, value, &reason);
    if (status)
        refuse(reading, status, reason.text);
    else
        config->values[at].in_file = true;
    return status == WP_OK;
}

enum wp_status wp_config_read(struct wp_config *config, const char *path, struct wp_error *error)
{
    struct reading reading = {.config = config, .path = path, .error = error};
    reading.file = fopen(path, "re");
    if (!reading.file)
        return wp_fail(error, errno == ENOENT ? WP_NOT_FOUND : WP_IO, "%s: %s", path,
                       strerror(errno));
    for (size_t i = 0; i < config->count; i++)
        config->values[i].in_file = false;
    int bad = ini_parse_stream(next_line, &reading, take, &reading);
    if (!reading.status && ferror(reading.file))
        reading.status = wp_fail(error, WP_IO, "%s cannot be read", path);
    if (!reading.status && bad) {
        reading.line = bad;
        refuse(&reading, WP_INVALID, "neither \"[section]\" nor \"name = value\"");
    }
    (void)fclose(reading.file);
    return reading.status;
}
