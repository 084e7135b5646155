/* staff_mail.h - sends the mails to staff that stand in table staff_mail, one at a time.
 *
 * A row is made in the transaction of its reason and sent after the commit; after a crash between
 * sending and recording it is sent again with the same Message-ID (twice rather than never, as
 * sheets are). Given up when it is of no use any more (until_us). Thread: the loop's.
 */
#ifndef STAFF_MAIL_H
#define STAFF_MAIL_H

#include <uv.h>

#include "db/db.h"
#include "post/post.h"

struct wp_staff_mail;

/* `post` lives as long as the result; NULL: no mail is set up, `*mail` is NULL and WP_OK.
 * WP_NO_MEMORY. */
enum wp_status wp_staff_mail_new(struct wp_db *db, uv_loop_t *loop,
                                 const struct wp_post_options *post, struct wp_staff_mail **mail,
                                 struct wp_error *error);

/* Looks for mails that are due; does nothing while one is on its way. NULL is harmless. */
void wp_staff_mail_kick(struct wp_staff_mail *mail);

/* Sends nothing more: before wp_db_close. Frees it: after that, and after the loop has turned. NULL
 * is harmless to both. */
void wp_staff_mail_stop(struct wp_staff_mail *mail);
void wp_staff_mail_free(struct wp_staff_mail *mail);

#endif
