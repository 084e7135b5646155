/* dispatch/mailbox_read.h - a mail server's untagged answers (RFC 3501 section 7). Private to
 * dispatch. Pure. */
#ifndef DISPATCH_MAILBOX_READ_H
#define DISPATCH_MAILBOX_READ_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The numbers of "* STATUS INBOX (UIDVALIDITY 1 UIDNEXT 12)". False if one is missing. */
bool wp_mailbox_status(const char *answer, int64_t *validity, int64_t *next);

/* The numbers of "* SEARCH 4 7" from `first` to `last`, rising, none twice, at most `room`. */
size_t wp_mailbox_found(const char *answer, int64_t first, int64_t last, int64_t *uids,
                        size_t room);

#endif
