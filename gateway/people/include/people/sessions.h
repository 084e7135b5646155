/* people/sessions.h - signing in: sessions, one-time links, throttles. Inside write jobs.
 *
 * Tokens are stored as hashes. A session ends after WP_SESSION_IDLE without use and after
 * WP_SESSION_LIFE at the latest.
 */
#ifndef PEOPLE_SESSIONS_H
#define PEOPLE_SESSIONS_H

#include "base/secret.h"
#include "people/access.h"

#define WP_LINK_LIFE (15 * WP_MINUTE)

/* Opens a session for `person`; `token` is what the browser keeps. */
enum wp_status wp_session_open(struct wp_txn *txn, int64_t person, char token[WP_TOKEN_ROOM]);

/* Ends one session by its hash, or all of a person. */
enum wp_status wp_session_close(struct wp_txn *txn, const unsigned char hash[WP_HASH_SIZE]);
enum wp_status wp_session_close_all(struct wp_txn *txn, int64_t person);

/* The start of a session's hash, by which its owner names it; it proves nothing. */
#define WP_SESSION_KEY 8
/* Ends the person's session that begins so. WP_NOT_FOUND: they have none. */
enum wp_status wp_session_close_one(struct wp_txn *txn, int64_t person,
                                    const unsigned char key[WP_SESSION_KEY]);

/* Notes that a session was used; writes at most once a minute for one session. */
enum wp_status wp_session_touch(struct wp_txn *txn, const unsigned char hash[WP_HASH_SIZE]);

/* Makes a one-time link's token, good for WP_LINK_LIFE; uses one up (WP_NOT_FOUND if it is not
 * known, used, or too old). */
enum wp_status wp_link_make(struct wp_txn *txn, int64_t person, char token[WP_TOKEN_ROOM]);
enum wp_status wp_link_use(struct wp_txn *txn, const char *token, int64_t *person);

/* Counts a try under `name` ("password:42", "claim:192.0.2.7"); WP_RETRY when more than `most` were
 * made within `span_us`. The count survives a restart. */
enum wp_status wp_throttle(struct wp_txn *txn, const char *name, int64_t most, int64_t span_us);
/* Forgets the count, after a success. */
enum wp_status wp_throttle_clear(struct wp_txn *txn, const char *name);

#endif
