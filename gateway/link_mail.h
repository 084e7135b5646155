/* link_mail.h - mail as configured; mails sign-in links.
 *
 * Thread: the loop's.
 */
#ifndef LINK_MAIL_H
#define LINK_MAIL_H

#include "acts/setup_acts.h"
#include "base/config.h"
#include "dispatch/dispatch.h"
#include "post/post.h"

struct wp_link_mail;

/* Mail as configured; `*options` is filled for the dispatcher as well and lives as long as
 * `*mail`. `*mail` is NULL, with WP_OK, where no mail server is set. WP_INVALID: an address or the
 * password file is not usable. WP_NO_MEMORY. */
enum wp_status wp_link_mail_new(const struct wp_config *config, const char *public_url,
                                uv_loop_t *loop, struct wp_link_mail **mail,
                                struct wp_error *error);
const struct wp_post_options *wp_link_mail_options(const struct wp_link_mail *mail);
/* The mailbox that bounces come back to; NULL: none is set. Lives as long as `mail`. */
const struct wp_mailbox_options *wp_link_mail_mailbox(const struct wp_link_mail *mail);

/* Sends one link; what comes of it is only logged, for the asker must not learn it. `mail` is a
 * struct wp_link_mail. */
void wp_link_mail_send(void *mail, const struct wp_link_wanted *wanted);

/* NULL is harmless; the memory goes when the loop has turned. */
void wp_link_mail_free(struct wp_link_mail *mail);

#endif
