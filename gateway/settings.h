/* settings.h - what the administrator may set, from the configuration file and the command line.
 *
 * Thread: made at start, then only read.
 */
#ifndef SETTINGS_H
#define SETTINGS_H

#include <stdbool.h>
#include <stdio.h>

#include "base/config.h"

#define WP_HOST_ROOM 256

struct wp_settings {
    const char *data;         /* --data */
    char host[WP_HOST_ROOM];  /* --listen, without the brackets of IPv6 */
    unsigned port;            /* 0: a free one */
    bool plain;               /* --plain */
    struct wp_config *config; /* the file's values over the defaults */
};

/* What stands on the command line. NULL where it was not given. */
struct wp_command_line {
    const char *data;
    const char *listen;
    const char *config;
    bool plain;
};

/* Reads the configuration file if one is named and takes over the command line. WP_INVALID: a bad
 * --listen, a bad file, or plain HTTP on an address other machines reach without the administrator
 * asking for it. Other errors as wp_config_read. */
enum wp_status wp_settings_read(const struct wp_command_line *line, struct wp_settings *settings,
                                struct wp_error *error);

/* Prints a configuration file with every key at its default. */
void wp_settings_describe(FILE *file);

/* Harmless on a zeroed one. */
void wp_settings_release(struct wp_settings *settings);

#endif
