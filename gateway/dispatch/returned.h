/* dispatch/returned.h - what follows when a mail comes back. Private to dispatch.
 *
 * Inside write jobs, but for wp_returned_read.
 */
#ifndef DISPATCH_RETURNED_H
#define DISPATCH_RETURNED_H

#include "delivery.h"
#include "post/report.h"

#define WP_MAIL_STOPPED_TEXT                                                                       \
    "Not mailed: mail to this address came back. It is in the inbox, and the address needs "       \
    "changing."
#define WP_DIGEST_TEXT 33 /* half of a keyed digest in hexadecimal, and the zero byte */

/* The key of marks and addresses, setting `mail.key`; made when it is first asked for. WP_BROKEN:
 * what is stored is no key. */
enum wp_status wp_mail_key(struct wp_txn *txn, unsigned char key[WP_HASH_SIZE]);

/* What is kept of an address. */
void wp_mail_digest(const unsigned char key[WP_HASH_SIZE], const char *address,
                    char digest[WP_DIGEST_TEXT]);

/* Applies a report: deliveries that went with the mail it names become failed, or say that they are
 * late; the person hears of it, and where the address will never take mail it gets no more. WP_OK
 * and
 * `*ours` false: it names no mail of ours. Database errors. */
enum wp_status wp_returned_apply(struct wp_txn *txn, const struct wp_report *report, bool *ours);

/* Writes down that mail to `person` came back; `stopped`: this address gets no more. */
enum wp_status wp_returned_note(struct wp_txn *txn, int64_t person, const char *digest,
                                bool stopped, const char *reason);

/* Forgets it: somebody tries again. */
enum wp_status wp_returned_forget(struct wp_txn *txn, int64_t person);

struct wp_returned {
    bool any;     /* something came back, and the address is still the same */
    bool stopped; /* nothing is mailed there any more */
    int64_t at_us;
    char reason[160]; /* "The mailbox does not exist. (5.1.1)" */
};

/* How it stands with a person's present address. */
enum wp_status wp_returned_read(struct wp_sql *sql, int64_t person, struct wp_returned *returned);

#endif
