/* post/report.h - mail that comes back: the mark by which a mail of ours is known again, and what a
 * delivery status notification says (RFC 3464, inside multipart/report, RFC 6522).
 *
 * A mark is a mail's number and 80 bits of a keyed digest of it. It stands in the Message-ID and,
 * where the relay allows sub-addresses, in the envelope's sender, so that a report carries it in
 * one place or the other. Nobody without the key makes a mark: a forged report names no mail of
 * ours.
 *
 * Whatever a mailbox holds may be hostile. A message is read as far as READ_DEPTH (5) nested parts,
 * in time proportional to its size; encoded parts are not decoded, since reports may not be encoded
 * (RFC 6522 section 3).
 *
 * Pure. Thread: any.
 */
#ifndef POST_REPORT_H
#define POST_REPORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/secret.h"
#include "post/post.h"

/* The mark of mail `id` (not below 0). */
void wp_mail_mark(const unsigned char key[WP_HASH_SIZE], int64_t id, char mark[WP_MAIL_MARK_ROOM]);
/* False if it was not made with this key; else `*id`. */
bool wp_mail_mark_check(const unsigned char key[WP_HASH_SIZE], const char *mark, int64_t *id);

/* The envelope's sender: `from` with the mark as a sub-address, "lab+MARK@college.example"; `from`
 * as it is without `sub_address`, without a mark, or where the local part would pass 64 bytes
 * (RFC 5321 section 4.5.3.1.1). */
void wp_mail_sender(const struct wp_post_options *options, const char *mark,
                    char sender[WP_ADDRESS_ROOM]);

enum wp_report_action {
    WP_REPORT_NOTHING, /* delivered, relayed, expanded: nothing to do */
    WP_REPORT_DELAYED, /* the mail server still tries */
    WP_REPORT_FAILED   /* it has given up */
};

#define WP_REPORT_MARKS 8

struct wp_report {
    enum wp_report_action action; /* failed only if no recipient got it: our mails have one */
    char code[16]; /* "5.1.1", the more telling one of Status and Diagnostic-Code; "" */
    char marks[WP_REPORT_MARKS][WP_MAIL_MARK_ROOM]; /* as found: to be checked */
    size_t mark_count;
};

/* Reads a whole message, or as much of its beginning as was fetched. WP_NOT_FOUND: it is no
 * delivery status notification. */
enum wp_status wp_report_read(const char *text, size_t size, struct wp_report *report);

/* A sentence for the code: "The mailbox is full.". Never NULL. */
const char *wp_report_meaning(const struct wp_report *report);

/* True if the code says that mail to this address will never arrive: no such mailbox, domain or
 * address (5.1.1, 5.1.2, 5.1.3, 5.1.10 of RFC 7505), moved (5.1.6), closed (5.2.1). Not for a full
 * mailbox, nor where rules or content were refused (RFC 3463 sections 3.2 and 3.3). `text` may be a
 * whole reply. */
bool wp_reply_is_final(const char *text);

#endif
