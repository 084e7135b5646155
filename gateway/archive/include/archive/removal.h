/* archive/removal.h - what is taken out of the archive for good, and the mark that stays.
 *
 * A removed measurement leaves its number, whose it was, and the digests of its bytes; a removed
 * object leaves its digest in state 'removed'. Bytes that another measurement still has stay.
 * Captures stay with what their receipts said, but lose the name of the file: an agent that sends
 * the bytes again gets its receipt, and nothing is made of them anew.
 *
 * In the database the bytes go with the transaction. The file goes right after it: the mover's
 * thread calls wp_removals_work, which takes objects in state 'removing' out of the store, and
 * writes every removal into DIR/erasures.jsonl, a list outside the database that is only appended
 * to. A gateway that starts on a restored database finds there what must be removed again
 * (wp_removals_read).
 *
 * Thread: inside write jobs, unless said otherwise.
 */
#ifndef ARCHIVE_REMOVAL_H
#define ARCHIVE_REMOVAL_H

#include "archive/record.h"
#include "store/store.h"

#define WP_REMOVAL_REASON 200

struct wp_removal {
    int64_t id;                  /* made by wp_removal_add if 0 */
    int64_t at_us;               /* set by wp_removal_add if 0 */
    char kind[16];               /* "person", "measurement", "object" */
    char subject[WP_SHA256_HEX]; /* its id, or the object's digest in hexadecimal */
    char spectra[8];             /* of a person: "keep" or "remove"; else "" */
    enum wp_actor actor;
    int64_t actor_id;
    char reason[WP_REMOVAL_REASON + 1];
};

/* Records that something is removed, and its ledger entry: verb "remove" or, of a person, "erase".
 * WP_CONSTRAINT: the id is known already. */
enum wp_status wp_removal_add(struct wp_txn *txn, struct wp_removal *removal);

/* Takes out one measurement with its stamps, renditions and notices, and the objects that nothing
 * else has. Its deliveries are the caller's. WP_NOT_FOUND: no such measurement. */
enum wp_status wp_remove_measurement(struct wp_txn *txn, int64_t measurement, int64_t removal);

/* Takes out an object that no measurement has: a file that could not be read. WP_NOT_FOUND: no such
 * object, or removed already; WP_CONFLICT: a measurement has it. */
enum wp_status wp_remove_object(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE]);

/* WP_OK: this spectrum of these bytes, or (`block` 0) all of them, was removed; WP_NOT_FOUND. Also
 * in read jobs. */
enum wp_status wp_removed_before(struct wp_sql *sql, const unsigned char digest[WP_SHA256_SIZE],
                                 int64_t block);

/* A person's name leaves the archive: their measurements lose them in every revision of the stamp,
 * and what is nobody else's stays as "name removed" (a new revision, rule "erased"). Also empties
 * the titles, file names and reasons that belong to these measurements. The texts in `words` (count
 * of them, each at least four bytes) are looked for elsewhere: file names of other captures,
 * events of agents, reasons; what holds one is emptied. */
enum wp_status wp_archive_forget(struct wp_txn *txn, int64_t person, const char *const words[],
                                 size_t count);

/* The list outside the database. */
#define WP_ERASURES_FILE "erasures.jsonl"

/* Calls `each` for every removal in the list, oldest first, until it fails. A list that is not
 * there is empty. WP_INVALID with the line: it is not such a list (a last line cut off in a crash
 * is passed over); WP_IO. Any thread. */
enum wp_status wp_removals_read(const char *folder,
                                enum wp_status (*each)(void *arg, const struct wp_removal *removal),
                                void *arg, struct wp_error *error);

/* One round of the mover's thread, `sql` its own reader: appends what is not yet listed, synced;
 * takes files out of the store; records both. WP_IO, WP_FULL, database errors: it is tried again
 * with the next round. */
enum wp_status wp_removals_work(struct wp_db *db, struct wp_sql *sql, struct wp_store *store,
                                struct wp_error *error);

#endif
