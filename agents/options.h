/* options.h - the command line of wavepost-agent. Pure; any thread. */
#ifndef AGENT_OPTIONS_H
#define AGENT_OPTIONS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/status.h"
#include "pattern.h"
#include "wire/messages.h"

enum wp_verb {
    WP_VERB_NONE,
    WP_VERB_JOIN,
    WP_VERB_RUN,
    WP_VERB_STATUS,
    WP_VERB_CHECK,
    WP_VERB_SET
};

struct wp_agent_options {
    enum wp_verb verb;
    bool help, version, json, backfill, verbose;
    const char *join;
    const char *state;
    size_t watch_count;
    const char *watch[WP_WIRE_FOLDERS];
    bool has_patterns;
    struct wp_patterns patterns;
    const char *ca_file, *proxy;                /* NULL: not given */
    int64_t settle_ms, size_limit, spool_limit; /* 0: not given */
};

/* Reads argv. WP_INVALID: the error says what is wrong. Texts point into argv. */
enum wp_status wp_agent_options_read(int argc, char **argv, struct wp_agent_options *options,
                                     struct wp_error *error);

extern const char wp_agent_help[];

#endif
