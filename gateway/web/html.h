/* html.h - HTML piece by piece: what is written by us, and texts from elsewhere, escaped. Private.
 *
 * The first failure is kept and stops what follows, so callers look once, at the end.
 */
#ifndef HTML_H
#define HTML_H

#include <stdbool.h>
#include <stdint.h>

#include <cjson/cJSON.h>

#include "base/bytes.h"

struct wp_html {
    struct wp_bytes *bytes; /* borrowed */
    enum wp_status status;
};

/* Markup of our own, as it stands. */
void wp_html_raw(struct wp_html *html, const char *markup);
/* A text from anywhere, escaped; NULL is nothing. Good between tags and inside quotes. */
void wp_html_text(struct wp_html *html, const char *text);
void wp_html_int(struct wp_html *html, int64_t number);
/* `before`, the escaped text, `after`; nothing at all if the text is NULL or empty. */
void wp_html_around(struct wp_html *html, const char *before, const char *text, const char *after);
/* A local time of day, "14:20", of UTC microseconds. */
void wp_html_clock(struct wp_html *html, int64_t at_us);

/* Members of JSON objects; absent ones are NULL, 0 or false. `object` may be NULL. */
const cJSON *wp_member(const cJSON *object, const char *name);
const char *wp_member_text(const cJSON *object, const char *name);
int64_t wp_member_int(const cJSON *object, const char *name);

#endif
