/* What a mail says. Both forms say the same. */
#include "words.h"

#include <string.h>

#include "encode.h"

static const char foot[] = "Teaching record. Not an identification; not a safety assessment. "
                           "See the SDS and local rules.";

enum wp_status wp_words_subject(struct wp_bytes *out, const struct wp_post_mail *mail)
{
    const struct wp_post_sheet *first = mail->parts[0].sheet;
    if (mail->count > 1)
        return wp_bytes_addf(out, "Your %zu spectra", mail->count);
    if (first->sample[0] == '\0')
        return wp_bytes_addf(out, "Your spectrum %s", first->accession);
    return wp_bytes_addf(out, "Your spectrum %s: %s", first->accession, first->sample);
}

static bool any_attached(const struct wp_post_mail *mail)
{
    for (size_t i = 0; i < mail->count; i++)
        if (mail->parts[i].pdf != NULL)
            return true;
    return false;
}

static const char *opening(const struct wp_post_mail *mail)
{
    if (mail->count > 1)
        return any_attached(mail) ? "here are your spectra, with their sheets attached."
                                  : "here are the links to your spectra.";
    return any_attached(mail) ? "here is your spectrum, with its sheet attached."
                              : "here is the link to your spectrum.";
}

/* Text from outside as one clean line. */
static enum wp_status add_clean(struct wp_bytes *out, const char *before, const char *text,
                                const char *after)
{
    char clean[1024];
    if (text[0] == '\0')
        return WP_OK;
    wp_text_clean(text, strlen(text), clean, sizeof clean);
    return wp_bytes_addf(out, "%s%s%s", before, clean, after);
}

static enum wp_status add_plain_sheet(struct wp_bytes *out, const struct wp_post_sheet *sheet)
{
    enum wp_status status = wp_bytes_add_text(out, sheet->accession);
    if (!status)
        status = add_clean(out, "  ", sheet->sample, "");
    if (!status)
        status = add_clean(out, ", measured ", sheet->measured_at, "");
    if (!status)
        status = add_clean(out, ", ", sheet->instrument, "");
    if (!status)
        status = wp_bytes_add_byte(out, '\n');
    if (!status)
        status = add_clean(out, "  ", sheet->verdict, "\n");
    if (!status)
        status = add_clean(out, "  ", sheet->link, "\n");
    return status ? status : wp_bytes_add_byte(out, '\n');
}

enum wp_status wp_words_plain(struct wp_bytes *out, const struct wp_post_options *options,
                              const struct wp_post_mail *mail)
{
    const struct wp_post_sheet *first = mail->parts[0].sheet;
    enum wp_status status = wp_bytes_add_text(out, "Hello");
    if (!status)
        status = add_clean(out, " ", first->to_name, "");
    if (!status)
        status = wp_bytes_addf(out, ",\n\n%s\n\n", opening(mail));
    for (size_t i = 0; i < mail->count && !status; i++)
        status = add_plain_sheet(out, mail->parts[i].sheet);
    if (!status)
        status = wp_bytes_addf(out, "%s\n", foot);
    if (!status && mail->choice_link != NULL)
        status = add_clean(out, "Change what is mailed to you: ", mail->choice_link, "\n");
    if (!status && options->reply_to == NULL)
        status = wp_bytes_add_text(out, "Sent by Wavepost; nobody reads replies to it.\n");
    return status;
}

static enum wp_status add_html(struct wp_bytes *out, const char *before, const char *text,
                               const char *after)
{
    if (text[0] == '\0')
        return WP_OK;
    enum wp_status status = wp_bytes_add_text(out, before);
    if (!status)
        status = wp_encode_html(out, text);
    return status ? status : wp_bytes_add_text(out, after);
}

/* A link only where it is one: nothing but http and https is ever made clickable. */
static enum wp_status add_html_link(struct wp_bytes *out, const char *link, const char *text)
{
    if (strncmp(link, "https://", 8) != 0 && strncmp(link, "http://", 7) != 0)
        return add_html(out, "", link, "");
    enum wp_status status = add_html(out, "<a href=\"", link, "\">");
    return status ? status : add_html(out, "", text, "</a>");
}

static enum wp_status add_html_sheet(struct wp_bytes *out, const struct wp_post_sheet *sheet)
{
    enum wp_status status = add_html(out, "<p><strong>", sheet->accession, "</strong>");
    if (!status)
        status = add_html(out, " ", sheet->sample, "");
    if (!status)
        status = add_html(out, ", measured ", sheet->measured_at, "");
    if (!status)
        status = add_html(out, ", ", sheet->instrument, "");
    if (!status)
        status = add_html(out, "<br>\n", sheet->verdict, "");
    if (!status && sheet->link[0] != '\0') {
        status = wp_bytes_add_text(out, "<br>\n");
        if (!status)
            status = add_html_link(out, sheet->link, "See the spectrum");
    }
    return status ? status : wp_bytes_add_text(out, "</p>\n");
}

static enum wp_status add_html_foot(struct wp_bytes *out, const struct wp_post_options *options,
                                    const struct wp_post_mail *mail)
{
    enum wp_status status = wp_bytes_addf(out, "<p><small>%s", foot);
    if (!status && mail->choice_link != NULL) {
        status = wp_bytes_add_text(out, "<br>\n");
        if (!status)
            status = add_html_link(out, mail->choice_link, "Change what is mailed to you");
    }
    if (!status && options->reply_to == NULL)
        status = wp_bytes_add_text(out, "<br>\nSent by Wavepost; nobody reads replies to it.");
    return status ? status : wp_bytes_add_text(out, "</small></p>\n</body></html>\n");
}

enum wp_status wp_words_html(struct wp_bytes *out, const struct wp_post_options *options,
                             const struct wp_post_mail *mail)
{
    const struct wp_post_sheet *first = mail->parts[0].sheet;
    enum wp_status status =
        wp_bytes_add_text(out, "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
                               "<title>Your spectra</title></head><body>\n<p>Hello");
    if (!status)
        status = add_html(out, " ", first->to_name, "");
    if (!status)
        status = wp_bytes_addf(out, ",</p>\n<p>%s</p>\n", opening(mail));
    for (size_t i = 0; i < mail->count && !status; i++)
        status = add_html_sheet(out, mail->parts[i].sheet);
    return status ? status : add_html_foot(out, options, mail);
}
