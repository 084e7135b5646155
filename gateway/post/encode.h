/* post/encode.h - transfer encodings of RFC 2045, and text made safe for HTML. Private to post. */
#ifndef POST_ENCODE_H
#define POST_ENCODE_H

#include "base/bytes.h"

/* Base64 (RFC 2045 section 6.8) without line breaks. */
enum wp_status wp_encode_base64(struct wp_bytes *out, const void *data, size_t size);

/* Base64 in lines of 76 that each end in CR LF. */
enum wp_status wp_encode_base64_lines(struct wp_bytes *out, const void *data, size_t size);

/* Quoted-printable (RFC 2045 section 6.7) of text whose lines end in LF; lines of at most 76 bytes
 * that end in CR LF. A line break is added at the end if there is none. */
enum wp_status wp_encode_quoted(struct wp_bytes *out, const char *text, size_t size);

/* Text for HTML, attributes included: & < > " ' are written as references, control characters as
 * blanks, bytes that are not UTF-8 as U+FFFD. */
enum wp_status wp_encode_html(struct wp_bytes *out, const char *text);

#endif
