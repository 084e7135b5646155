/* acts/deliver.h - when a measurement's sheet goes on its way, by the course's policy.
 *
 * A course prints at once, when asked at the bench, or not at all (inbox only); and mails each
 * sheet, a digest after class, links only, or nothing. All inside write jobs.
 */
#ifndef ACTS_DELIVER_H
#define ACTS_DELIVER_H

#include "people/ask.h"

/* After a measurement was recorded and stamped: prints it where the course prints at once. */
enum wp_status wp_deliver_at_once(struct wp_txn *txn, int64_t measurement);

/* After it was kept: mails it to each person as the course says, and prints it if `print` and the
 * course prints. An unclaimed one is printed without a name. `actor` asked for it. */
enum wp_status wp_deliver_kept(struct wp_txn *txn, int64_t measurement, bool print,
                               enum wp_actor actor, int64_t actor_id);

/* After somebody claimed it or was assigned it: mails it as the course says, or prints the labelled
 * sheet where the course prints and does not mail. */
enum wp_status wp_deliver_claimed(struct wp_txn *txn, int64_t measurement);

/* A person asks for paper (`printer` 0: the nearest) or mail. The text of what came of it is put
 * into *out as {"delivery":id,"text":...}. */
enum wp_status wp_deliver_print(struct wp_txn *txn, int64_t measurement, int64_t person,
                                int64_t printer, bool large_print, cJSON **out,
                                struct wp_error *error);

/* A person asks for one of their own by mail: one sheet, attached or linked as the course has it.
 */
enum wp_status wp_deliver_mail(struct wp_txn *txn, int64_t measurement, int64_t person, cJSON **out,
                               struct wp_error *error);

#endif
