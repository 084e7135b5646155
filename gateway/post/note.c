/* A short mail of plain text to one member of staff. */
#include <inttypes.h>
#include <string.h>

#include "encode.h"
#include "field.h"
#include "post/post.h"

enum wp_status wp_post_note(const struct wp_post_options *options, const struct wp_post_note *note,
                            struct wp_bytes *out, struct wp_error *error)
{
    if (!wp_address_valid(options->from) || !wp_address_valid(note->to))
        return wp_fail(error, WP_INVALID, "The mail cannot be addressed.");
    size_t before = out->size;
    enum wp_status status = wp_field_date(out, note->at_us);
    if (!status)
        status = wp_field_address(out, "From", options->from_name, options->from);
    if (!status)
        status = wp_field_address(out, "To", note->to_name, note->to);
    if (!status)
        status = wp_bytes_addf(out, "Message-ID: <staff-%" PRId64 "@%s>\r\n", note->id,
                               strchr(options->from, '@') + 1);
    if (!status)
        status = wp_post_field(out, "Subject", note->subject);
    if (!status)
        status = wp_bytes_addf(out, "Auto-Submitted: auto-generated\r\nMIME-Version: 1.0\r\n"
                                    "Content-Type: text/plain; charset=utf-8\r\n"
                                    "Content-Transfer-Encoding: quoted-printable\r\n\r\n");
    if (!status)
        status = wp_encode_quoted(out, note->text, strlen(note->text));
    if (status)
        out->size = before;
    return status;
}
