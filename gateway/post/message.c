/* A whole mail: header, text in two forms, sheets. */
#include <string.h>

#include "encode.h"
#include "field.h"
#include "post/post.h"
#include "words.h"

/* What one part of text may grow to: twenty sheets of about two kilobytes, tripled by encoding. */
enum { TEXT_MOST = 256 * 1024 };

/* "=_" cannot occur in quoted-printable nor in base64 (RFC 2045 section 6.7), so no text inside can
 * look like a boundary. */
#define MIXED "=_sheets"
#define ALTERNATIVE "=_text"

static bool accession_safe(const char *accession)
{
    size_t size = strspn(accession, "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ");
    return size > 0 && accession[size] == '\0';
}

static enum wp_status check(const struct wp_post_options *options, const struct wp_post_mail *mail,
                            struct wp_error *error)
{
    if (mail->count == 0 || mail->count > WP_POST_SHEETS)
        return wp_fail(error, WP_INVALID, "A mail holds 1 to %d sheets.", WP_POST_SHEETS);
    if (!wp_address_valid(options->from))
        return wp_fail(error, WP_INVALID, "The sender's mail address is not valid.");
    if (options->reply_to != NULL && !wp_address_valid(options->reply_to))
        return wp_fail(error, WP_INVALID, "The mail address for replies is not valid.");
    if (!wp_address_valid(mail->parts[0].sheet->to))
        return wp_fail(error, WP_INVALID, "The person's mail address is not valid.");
    for (size_t i = 0; i < mail->count; i++)
        if (!accession_safe(mail->parts[i].sheet->accession))
            return wp_fail(error, WP_INVALID, "An accession number is not one.");
    return WP_OK;
}

static enum wp_status add_subject(struct wp_bytes *out, const struct wp_post_mail *mail)
{
    struct wp_bytes subject;
    wp_bytes_init(&subject, 1024);
    enum wp_status status = wp_words_subject(&subject, mail);
    if (!status)
        status = wp_post_field(out, "Subject", subject.data);
    wp_bytes_release(&subject);
    return status;
}

static enum wp_status add_header(struct wp_bytes *out, const struct wp_post_options *options,
                                 const struct wp_post_mail *mail)
{
    const struct wp_post_sheet *first = mail->parts[0].sheet;
    enum wp_status status = wp_field_date(out, mail->at_us);
    if (!status)
        status = wp_field_address(out, "From", options->from_name, options->from);
    if (!status && options->reply_to != NULL)
        status = wp_field_address(out, "Reply-To", NULL, options->reply_to);
    if (!status)
        status = wp_field_address(out, "To", first->to_name, first->to);
    if (!status)
        status = add_subject(out, mail);
    if (!status)
        status = wp_bytes_addf(out, "Message-ID:\r\n <wavepost.%s%s>\r\n", mail->mark,
                               strchr(options->from, '@'));
    if (!status)
        status = wp_bytes_add_text(out, "Auto-Submitted: auto-generated\r\nMIME-Version: 1.0\r\n");
    return status;
}

typedef enum wp_status (*words_fn)(struct wp_bytes *out, const struct wp_post_options *options,
                                   const struct wp_post_mail *mail);

static enum wp_status add_text_part(struct wp_bytes *out, const char *type, words_fn words,
                                    const struct wp_post_options *options,
                                    const struct wp_post_mail *mail)
{
    struct wp_bytes text;
    wp_bytes_init(&text, TEXT_MOST);
    enum wp_status status = words(&text, options, mail);
    if (!status)
        status = wp_bytes_addf(out,
                               "--" ALTERNATIVE "\r\nContent-Type: %s; charset=utf-8\r\n"
                               "Content-Transfer-Encoding: quoted-printable\r\n\r\n",
                               type);
    if (!status)
        status = wp_encode_quoted(out, text.data, text.size);
    if (!status)
        status = wp_bytes_add_text(out, "\r\n");
    wp_bytes_release(&text);
    return status;
}

static enum wp_status add_text(struct wp_bytes *out, const struct wp_post_options *options,
                               const struct wp_post_mail *mail)
{
    enum wp_status status = wp_bytes_add_text(
        out, "Content-Type: multipart/alternative; boundary=\"" ALTERNATIVE "\"\r\n\r\n");
    if (!status)
        status = add_text_part(out, "text/plain", wp_words_plain, options, mail);
    if (!status)
        status = add_text_part(out, "text/html", wp_words_html, options, mail);
    return status ? status : wp_bytes_add_text(out, "--" ALTERNATIVE "--\r\n");
}

static enum wp_status add_sheet(struct wp_bytes *out, const struct wp_post_part *part)
{
    enum wp_status status = wp_bytes_addf(out,
                                          "\r\n--" MIXED "\r\nContent-Type: application/pdf\r\n"
                                          "Content-Disposition: attachment; filename=\"%s.pdf\"\r\n"
                                          "Content-Transfer-Encoding: base64\r\n\r\n",
                                          part->sheet->accession);
    return status ? status : wp_encode_base64_lines(out, part->pdf, part->pdf_size);
}

static enum wp_status add_mixed(struct wp_bytes *out, const struct wp_post_options *options,
                                const struct wp_post_mail *mail)
{
    enum wp_status status = wp_bytes_add_text(
        out, "Content-Type: multipart/mixed; boundary=\"" MIXED "\"\r\n\r\n--" MIXED "\r\n");
    if (!status)
        status = add_text(out, options, mail);
    for (size_t i = 0; i < mail->count && !status; i++)
        if (mail->parts[i].pdf != NULL)
            status = add_sheet(out, &mail->parts[i]);
    return status ? status : wp_bytes_add_text(out, "\r\n--" MIXED "--\r\n");
}

enum wp_status wp_post_build(const struct wp_post_options *options, const struct wp_post_mail *mail,
                             struct wp_bytes *out, struct wp_error *error)
{
    size_t before = out->size;
    bool attached = false;
    enum wp_status status = check(options, mail, error);
    if (status)
        return status;
    for (size_t i = 0; i < mail->count; i++)
        attached = attached || mail->parts[i].pdf != NULL;
    status = add_header(out, options, mail);
    if (!status)
        status = attached ? add_mixed(out, options, mail) : add_text(out, options, mail);
    if (!status)
        return WP_OK;
    if (out->data != NULL) {
        out->size = before;
        out->data[before] = '\0';
    }
    return wp_fail(error, status, "The mail could not be built: %s.", wp_status_name(status));
}
