/* base/json.h - tells text that is no JSON from JSON for which there was no memory.
 *
 * The parser answers both with nothing. To an agent the first means that its capture is refused for
 * good, the second that it tries again.
 *
 * Thread: any. Allocates nothing.
 */
#ifndef WP_BASE_JSON_H
#define WP_BASE_JSON_H

#include <stdbool.h>
#include <stddef.h>

/* Whether `text` is one JSON value (RFC 8259) nested at most 64 deep, with white space around it.
 * A little more lenient than the grammar inside numbers, as the parser is. */
bool wp_json_sound(const char *text, size_t size);

#endif
