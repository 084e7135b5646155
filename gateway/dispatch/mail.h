/* dispatch/mail.h - one mail under way. Private to dispatch. */
#ifndef DISPATCH_MAIL_H
#define DISPATCH_MAIL_H

#include "dispatch_parts.h"
#include "returned.h"

enum wp_mail_outcome {
    WP_MAIL_NOT_OURS, /* somebody else was quicker, or it was cancelled */
    WP_MAIL_CLAIMED,
    WP_MAIL_DRAWN,
    WP_MAIL_TAKEN,
    WP_MAIL_LATER,
    WP_MAIL_REFUSED
};

struct wp_mail_sheet {
    int64_t delivery;
    int64_t measurement;
    bool large_print;
    enum wp_mail_outcome outcome;
    char text[WP_CHOICE_TEXT];
    struct wp_post_sheet words;
    struct wp_bytes pdf;
};

/* Loop thread, but for the drawing. */
struct wp_mail_job {
    struct wp_dispatch *dispatch;
    size_t slot;
    int64_t person;
    bool link;
    char to[WP_ADDRESS_ROOM];
    struct wp_mail_sheet sheets[WP_POST_SHEETS];
    size_t count;
    struct wp_bytes message;
    /* how it is known again if it comes back */
    unsigned char key[WP_HASH_SIZE];
    int64_t id;
    char mark[WP_MAIL_MARK_ROOM];
    char digest[WP_DIGEST_TEXT]; /* of `to` */
    bool final;                  /* refused, and so will be all mail to this address */
};

#endif
