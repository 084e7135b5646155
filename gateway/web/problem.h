/* problem.h - errors as problem details (RFC 9457). Pure; any thread. */
#ifndef PROBLEM_H
#define PROBLEM_H

#include <stddef.h>

#include "base/status.h"

/* The HTTP status code an outcome is answered with. WP_RETRY is 429 when the error has a text (a
 * person tried too often) and 503 when it has none (we are busy). WP_DENIED is 403; the caller
 * makes it 401 where nobody has proved who they are. */
unsigned wp_problem_code(enum wp_status status, const struct wp_error *error);

/* The name of a status code by RFC 9110, "Error" for others. */
const char *wp_problem_title(unsigned code);

/* A new problem object as text; the caller frees it. `detail` may be NULL, `line` and `column` are
 * members when above 0, `limit` when above 0. NULL if out of memory. */
char *wp_problem_json(unsigned code, enum wp_status status, const char *detail,
                      const char *instance, const struct wp_error *place, unsigned long long limit);

/* The same for a person whose browser opened an address or sent a form: a small page with the way
 * back, or to the first page if `back` is NULL. */
char *wp_problem_html(unsigned code, const char *detail, const char *back);

/* The same under a heading of one's own. */
char *wp_say_html(const char *title, const char *detail, const char *back);

/* Appends text with & < > " ' escaped. */
struct wp_bytes;
enum wp_status wp_html_add(struct wp_bytes *html, const char *text);

#endif
