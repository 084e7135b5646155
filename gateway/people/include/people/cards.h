/* people/cards.h - bench cards, PINs and passes: saying who one is without tapping a name.
 *
 * A card carries 26 digits: 24 that are computed from a random seed of the person's row and the
 * site's bench key, and two check digits (ISO/IEC 7064, MOD 97-10), so that a misread card is told
 * from an unknown one. Digits alone come through a code reader that types as a keyboard, whatever
 * layout the keyboard has. The database holds the seed and the hash of the digits; the key is a
 * file beside it. So a card can be printed again, and a copy of the database makes none.
 *
 * A PIN has 4 to 6 digits. No hash of a million values is slow enough to hide one, and it has to be
 * found by its hash: it is hashed under the bench key.
 *
 * A pass says for ten minutes that a person was just identified at one instrument, and how. It goes
 * to the bench page in place of card or PIN.
 *
 * None of them opens anything: they say who measures, as a tap on a name does.
 *
 * Thread: inside read and write jobs; the pure ones any.
 */
#ifndef PEOPLE_CARDS_H
#define PEOPLE_CARDS_H

#include "base/clock.h"
#include "base/secret.h"
#include "people/ask.h"

#define WP_CARD_DIGITS 26
#define WP_CARD_ROOM (WP_CARD_DIGITS + 1)
#define WP_PASS_LIFE (10 * WP_MINUTE)
#define WP_PASS_ROOM 160

/* ---- pure ---- */

/* The digits that the seed makes under the key. */
void wp_card_digits(const unsigned char key[WP_KEY_SIZE], const unsigned char seed[16],
                    char card[WP_CARD_ROOM]);

/* What a reader typed, blanks and hyphens left out. False: it is no card, or was misread. */
bool wp_card_clean(const char *typed, char card[WP_CARD_ROOM]);

/* 4 to 6 digits and nothing else. */
bool wp_pin_ok(const char *pin);

/* Not to be chosen: all digits the same, or one after the other. */
bool wp_pin_simple(const char *pin);

/* `by` is "card", "pin" or "number". */
void wp_pass_make(const unsigned char key[WP_KEY_SIZE], int64_t instrument, int64_t person,
                  const char *by, int64_t now, char pass[WP_PASS_ROOM]);
/* False: forged, of another instrument, or older than WP_PASS_LIFE. `by` is a literal. */
bool wp_pass_read(const unsigned char key[WP_KEY_SIZE], int64_t instrument, int64_t now,
                  const char *pass, int64_t *person, const char **by);

/* ---- stored ---- */

/* Gives the person a card if there is none, or (`anew`) another one: the old one is void then. */
enum wp_status wp_card_make(struct wp_txn *txn, const unsigned char key[WP_KEY_SIZE],
                            int64_t person, bool anew);

/* The person's card. WP_NOT_FOUND: none, or it was made under another key. */
enum wp_status wp_card_read(struct wp_sql *sql, const unsigned char key[WP_KEY_SIZE],
                            int64_t person, char card[WP_CARD_ROOM]);

/* Sets the person's PIN, or takes it away (""). WP_INVALID: no PIN, or too simple a one.
 * WP_CONFLICT: somebody of the same section has it, or has it as a number. */
enum wp_status wp_pin_set(struct wp_txn *txn, const unsigned char key[WP_KEY_SIZE], int64_t person,
                          const char *pin, struct wp_error *error);

/* Whose card it is; WP_NOT_FOUND. Whoever was erased has none. */
enum wp_status wp_card_person(struct wp_sql *sql, const char card[WP_CARD_ROOM], int64_t *person);

/* Whose PIN it is among those who may sign on at the instrument now: the sections that meet there,
 * or all if none meets. WP_NOT_FOUND: nobody's, or more than one person's. */
enum wp_status wp_pin_person(struct wp_sql *sql, const unsigned char key[WP_KEY_SIZE],
                             int64_t instrument, const char *pin, int64_t now, int64_t *person);

/* Whose number it is, in any section that has not ended: somebody who makes up for a missed class.
 * WP_NOT_FOUND: nobody's, or more than one person's. */
enum wp_status wp_number_person(struct wp_sql *sql, const char *number, int64_t *person);

/* The section somebody most likely measures for at the instrument: one of theirs that meets there,
 * else one that meets now, else the last they came to. WP_NOT_FOUND: they are in none. */
enum wp_status wp_person_section(struct wp_sql *sql, int64_t instrument, int64_t person,
                                 int64_t now, int64_t *section);

#endif
