/* post/field.h - header fields of a mail. Private to post; wp_post_field is public. */
#ifndef POST_FIELD_H
#define POST_FIELD_H

#include <stdint.h>

#include "base/bytes.h"

/* "To: name <address>"; `display` may be NULL or empty. `address` must be wp_address_valid. */
enum wp_status wp_field_address(struct wp_bytes *out, const char *name, const char *display,
                                const char *address);

/* "Date: Mon, 02 Mar 2026 14:05:09 +0000" (RFC 5322 section 3.3). */
enum wp_status wp_field_date(struct wp_bytes *out, int64_t at_us);

#endif
