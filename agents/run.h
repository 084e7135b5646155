/* run.h - the agent at work: watches, sends, tells, until SIGTERM or SIGINT.
 *
 * Returns the exit code: 0 after an orderly stop, 1 if it could not start or its storage broke (a
 * service manager then starts it again). Thread: the main thread.
 */
#ifndef AGENT_RUN_H
#define AGENT_RUN_H

#include "options.h"

int wp_agent_run(const struct wp_agent_options *options);

#endif
