/* setup.h - what every verb needs from the state folder, and the verbs join and set.
 *
 * Thread: the main thread.
 */
#ifndef AGENT_SETUP_H
#define AGENT_SETUP_H

#include <uv.h>

#include "base/http.h"
#include "options.h"
#include "spool.h"

struct wp_setup {
    char base[WP_WIRE_TEXT];
    char pin[64]; /* "" if none */
    char token[WP_WIRE_TOKEN];
    char ca_file[WP_SPOOL_PATH];
    char proxy[WP_WIRE_TEXT];
    char instrument[WP_WIRE_TEXT];
    char place[WP_WIRE_TEXT];
    unsigned char secret[16];
    int64_t settle_us, size_limit;
    struct wp_patterns patterns;
};

/* Reads the settings. WP_NOT_FOUND: never joined. */
enum wp_status wp_setup_read(struct wp_spool *spool, struct wp_setup *setup,
                             struct wp_error *error);
/* A client with this setup's trust and proxy. NULL: no memory. */
struct wp_http *wp_setup_http(const struct wp_setup *setup, uv_loop_t *loop, unsigned connections);

/* Whether the gateway is spoken to by a proxy, as far as this process sees: its address without
 * name and password, and whether --proxy or which variable of the environment says so. */
bool wp_setup_proxy(const struct wp_setup *setup, char shown[WP_WIRE_TEXT], const char **from);

/* The verbs join and set; prints for people and returns the exit code. */
int wp_agent_set_up(const struct wp_agent_options *options);

#endif
