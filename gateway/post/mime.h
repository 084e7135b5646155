/* post/mime.h - taking a message apart: lines, fields, parts (RFC 5322, RFC 2045, RFC 2046).
 * Private to post.
 *
 * Nothing is copied but the value of one field at a time. Each call takes time proportional to what
 * it passes over; bounds are in mime.c.
 */
#ifndef POST_MIME_H
#define POST_MIME_H

#include <stdbool.h>
#include <stddef.h>

#define WP_MIME_VALUE_ROOM 1024
#define WP_MIME_BOUNDARY_ROOM 72 /* RFC 2046 section 5.1.1: at most 70 */

/* A piece of text, not ended by a zero byte. */
struct wp_slice {
    const char *at;
    const char *end;
};

/* One field, unfolded; a value that is too long is cut. */
struct wp_mime_field {
    char name[48]; /* lower case; cut */
    char value[WP_MIME_VALUE_ROOM];
};

/* Reads the next field of a header. False at its end, an empty line (which is passed over) or the
 * end of the text. Lines that are no field are passed over. */
bool wp_mime_next_field(struct wp_slice *text, struct wp_mime_field *field);

struct wp_mime_type {
    char type[64]; /* "multipart/report", lower case; "text/plain" where nothing is said */
    char boundary[WP_MIME_BOUNDARY_ROOM];
    char report_type[32]; /* lower case */
};

/* Reads the value of Content-Type. */
void wp_mime_type_read(const char *value, struct wp_mime_type *type);

/* Takes the next part of a multipart's body. Begin with `*body` as it is after the header: false
 * when there is no other part. A part that is cut off at the end counts. */
bool wp_mime_next_part(struct wp_slice *body, const char *boundary, struct wp_slice *part);

#endif
