/* reach.h - why the gateway was not reached, in words an administrator can act on.
 *
 * Pure; any thread.
 */
#ifndef AGENT_REACH_H
#define AGENT_REACH_H

#include "base/http.h"
#include "wire/messages.h"

/* For an answer whose status is not WP_OK. */
void wp_reach_why(const struct wp_http_answer *answer, char why[WP_WIRE_TEXT]);

/* For any answer that is not the one hoped for: as above, or its code with what the gateway says.
 */
void wp_reach_explain(const struct wp_http_answer *answer, char why[WP_WIRE_TEXT]);

#endif
