/* ledger/ledger.h - who did what, in a chain that shows any change.
 *
 * Each entry's hash is SHA-256 over the previous hash and the entry's own fields, so altering or
 * removing one breaks every later one; cutting off the end shows because receipts carry the head
 * and agents keep the last one they saw. Entries hold ids and digests, never names: erasing a
 * person leaves the chain whole.
 *
 * An entry's hash is SHA-256 over: the hash before it (32 zero bytes for the first), then number,
 * at_us, actor and actor_id as 64-bit big-endian integers, then verb, subject and detail digest,
 * each after its length as a 64-bit big-endian integer (length 0: no detail).
 *
 * A detail's digest is SHA-256 over the database's own salt (32 random bytes, setting
 * `ledger.salt`) and the text. With the salt a kept text can be shown to be the one that was
 * entered; without it nobody can find a text by trying likely ones. Erasing a person removes the
 * text where it is kept: what stays is a digest that tells nothing unless somebody brings text and
 * salt together. Removing the salt makes all details unprovable and leaves the chain whole, for it
 * holds digests only.
 *
 * Thread: inside write jobs (append) and read jobs (the rest).
 */
#ifndef LEDGER_LEDGER_H
#define LEDGER_LEDGER_H

#include <stdint.h>

#include "db/db.h"

#define WP_LEDGER_HASH 32

enum wp_actor {
    WP_ACTOR_SYSTEM,
    WP_ACTOR_PERSON,
    WP_ACTOR_AGENT,
    WP_ACTOR_BENCH,
    WP_ACTOR_COMMAND
};

struct wp_ledger_head {
    int64_t number; /* 0: empty */
    unsigned char hash[WP_LEDGER_HASH];
};

/* Appends an entry. `verb` is a short literal ("capture", "stamp", "claim", "sign-in", "view",
 * "export", "setting"); `subject` names what it was done to as "table:id" (at most 96 bytes, no
 * names); `detail` (may be NULL) is hashed, not stored: pass what must be provable later. The
 * person's own name on the command line is passed as detail of a "command" entry.
 * `head` (may be NULL) gets the new head. WP_INVALID: verb or subject empty or too long (32 and 96
 * bytes). WP_BROKEN: the last entry is unreadable. Database errors. */
enum wp_status wp_ledger_add(struct wp_txn *txn, enum wp_actor actor, int64_t actor_id,
                             const char *verb, const char *subject, const char *detail,
                             struct wp_ledger_head *head);

/* The newest entry; number 0 and zero bytes if there is none. Database errors. */
enum wp_status wp_ledger_read_head(struct wp_sql *sql, struct wp_ledger_head *head);

/* Walks the whole chain, some thousand entries a query, so that outside a transaction no snapshot
 * is held for long. WP_OK and `*entries`; WP_INVALID and the number of the first bad entry in
 * `error->line`; database errors. */
enum wp_status wp_ledger_check(struct wp_sql *sql, int64_t *entries, struct wp_error *error);

/* WP_OK if the entry `head->number` exists with that hash; WP_INVALID if it does not: the end was
 * cut off or rewritten since a witness saw it. Number 0 is a witness of nothing: WP_OK. Database
 * errors. */
enum wp_status wp_ledger_witness(struct wp_sql *sql, const struct wp_ledger_head *head);

#endif
