/* tell.h - the verbs that look without touching: status and check. They print for people (status
 * also as JSON) and return the exit code. Thread: the main thread.
 */
#ifndef AGENT_TELL_H
#define AGENT_TELL_H

#include "options.h"

/* 0: as it should be; 1: something needs attention; 2: no agent there. */
int wp_agent_status(const struct wp_agent_options *options);

/* 0: all well; 1: trouble, each on a line that says what to do; 2: no agent there. */
int wp_agent_check(const struct wp_agent_options *options);

#endif
