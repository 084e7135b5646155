/* fields.h - reading and writing the texts of HTTP: percent-encoding, forms, cookies, origins,
 * Content-Disposition. Pure; any thread. */
#ifndef FIELDS_H
#define FIELDS_H

#include <stdbool.h>
#include <stddef.h>

#include <cjson/cJSON.h>

#include "base/status.h"

/* Decodes %XX (and '+' as a blank if `plus`) from `text` to `out`, which may be the same memory.
 * False: malformed, a NUL, or not UTF-8. `*size` gets the decoded length; a zero byte follows. */
bool wp_percent_decode(const char *text, size_t length, bool plus, char *out, size_t *size);

#define WP_FORM_FIELDS 256

/* Adds the fields of a form (WHATWG URL, application/x-www-form-urlencoded) to `object` as strings;
 * a repeated name becomes a list. WP_INVALID: malformed or too many; WP_NO_MEMORY. */
enum wp_status wp_form_parse(const char *text, size_t length, cJSON *object);

/* The value of one cookie in a Cookie field (RFC 6265, 5.4). False if absent or longer than `out`.
 */
bool wp_cookie_find(const char *field, const char *name, char *out, size_t room);

/* True if the value of Origin or Referer names `host` (the Host field: "name" or "name:port"). The
 * scheme is not compared: a proxy may end TLS. */
bool wp_origin_is(const char *url, const char *host);

/* What a browser says of where a request comes from. Absent fields are NULL. */
struct wp_origin_fields {
    const char *fetch_site; /* Sec-Fetch-Site */
    const char *origin;
    const char *referer;
    const char *host;
};

/* Whether a request that changes something may be believed to come from our own pages. `cookie`:
 * it is proved by a cookie, which a browser sends along by itself; then silence counts against it.
 */
bool wp_same_origin(const struct wp_origin_fields *fields, bool cookie);

#define WP_DISPOSITION_ROOM 1024

/* "attachment; filename=...; filename*=UTF-8''..." (RFC 6266, RFC 8187). Path parts, control
 * characters and quotes in `name` are replaced, so that nothing can be injected. */
void wp_disposition(bool attachment, const char *name, char text[WP_DISPOSITION_ROOM]);

#endif
