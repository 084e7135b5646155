/* gateway.h - the gateway's parts, started in order, run until a signal, stopped in reverse.
 *
 * Thread: the main one.
 */
#ifndef GATEWAY_H
#define GATEWAY_H

#include "settings.h"

/* Runs until SIGTERM or SIGINT. Prints "listening on URL" on standard output once requests are
 * answered. WP_OK: stopped in order. WP_BROKEN: the storage failed; a restart recovers. Otherwise
 * a part did not start, and the error says which and why. */
enum wp_status wp_gateway_run(const struct wp_settings *settings, struct wp_error *error);

#endif
