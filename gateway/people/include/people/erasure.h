/* people/erasure.h - a person's right to be forgotten, as far as persons, rosters and turns go.
 *
 * What stays is the id, which the ledger and other people's records name, and the instant. Inside
 * write jobs.
 */
#ifndef PEOPLE_ERASURE_H
#define PEOPLE_ERASURE_H

#include "people/persons.h"

#define WP_FORGOTTEN_WORDS 16
#define WP_FORGOTTEN_ROOM 400

/* What names a person in texts: full name both ways round, sign-in name, mail address, numbers on
 * rosters, alias. Words below four bytes are left out: they would be found in anything. */
struct wp_forgotten {
    char words[WP_FORGOTTEN_WORDS][WP_FORGOTTEN_ROOM];
    size_t count;
};

/* Reads them. WP_NOT_FOUND: no such person, or erased already. Also in read jobs. */
enum wp_status wp_person_words(struct wp_sql *sql, int64_t person, struct wp_forgotten *words);

/* `words` are those of wp_person_words: mails to staff that hold one are not sent and go.
 * Empties the person's row and takes out sessions, links, counted tries, places on rosters and in
 * sections' staff, and their part in turns: a turn that was theirs alone has its texts emptied and
 * "Name removed" as its guest. Sign-in name and address are free for somebody else afterwards.
 * WP_NOT_FOUND as above. */
enum wp_status wp_person_erase(struct wp_txn *txn, int64_t person,
                               const struct wp_forgotten *words);

/* WP_OK: there is another person with the administrator's role. WP_NOT_FOUND. */
enum wp_status wp_other_administrator(struct wp_sql *sql, int64_t person);

#endif
