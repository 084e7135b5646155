/* One built message on its way to the mail server. */
#include "post/report.h"

enum { DEFAULT_TIMEOUT_MS = 60000 };

enum wp_status wp_post_send(struct wp_http *http, const struct wp_post_options *options,
                            const char *to, const char *mark, const struct wp_bytes *message,
                            wp_http_done done, void *arg)
{
    if (!wp_address_valid(options->from) || !wp_address_valid(to))
        return WP_INVALID;
    char sender[WP_ADDRESS_ROOM];
    wp_mail_sender(options, mark, sender);
    struct wp_mail_request request = {
        .url = options->url,
        .require_tls = options->require_tls,
        .user = options->user,
        .password = options->password,
        .from = sender,
        .to = to,
        .message = message->data,
        .size = message->size,
        .timeout_ms = options->timeout_ms != 0 ? options->timeout_ms : DEFAULT_TIMEOUT_MS,
    };
    return wp_mail_send(http, &request, done, arg);
}
