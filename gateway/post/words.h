/* post/words.h - what a mail says, as plain text and as HTML. Private to post. */
#ifndef POST_WORDS_H
#define POST_WORDS_H

#include "post/post.h"

/* The subject: accession and sample of one sheet, or the number of sheets. */
enum wp_status wp_words_subject(struct wp_bytes *out, const struct wp_post_mail *mail);

/* Lines end in LF. */
enum wp_status wp_words_plain(struct wp_bytes *out, const struct wp_post_options *options,
                              const struct wp_post_mail *mail);
enum wp_status wp_words_html(struct wp_bytes *out, const struct wp_post_options *options,
                             const struct wp_post_mail *mail);

#endif
