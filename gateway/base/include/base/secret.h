/* base/secret.h - random numbers, tokens, passwords (libsodium).
 *
 * Tokens are 32 random bytes as base64url; only their hash is ever stored. wp_secret_init must have
 * succeeded once before the others are called. Thread: any; passwords take tens of milliseconds and
 * 64 MiB by design, so they run on a lane of their own.
 */
#ifndef BASE_SECRET_H
#define BASE_SECRET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/status.h"

#define WP_TOKEN_ROOM 48
#define WP_HASH_SIZE 32
#define WP_PASSWORD_ROOM 128
#define WP_CODE_ROOM 16

/* WP_IO if the system has no random source. Harmless when called again. */
enum wp_status wp_secret_init(void);

void wp_random(void *data, size_t size);
uint32_t wp_random_below(uint32_t bound);

/* A new token; its text goes to the holder once. */
void wp_token_new(char token[WP_TOKEN_ROOM]);

/* What is stored of a token or a code. BLAKE2b-256, unkeyed: tokens are random enough. */
void wp_token_hash(const char *token, unsigned char hash[WP_HASH_SIZE]);

/* BLAKE2b-256 under a key (RFC 7693 section 2.9): nobody without the key makes it or finds its
 * input by trying. */
void wp_keyed_hash(const unsigned char key[WP_HASH_SIZE], const void *data, size_t size,
                   unsigned char hash[WP_HASH_SIZE]);

/* A code for people: eight characters in two groups, "K7QM-4TXA", without 0 1 I L O U; about 39
 * bits, so every use of it is throttled and it expires. Compared after wp_code_clean. */
void wp_code_new(char code[WP_CODE_ROOM]);
/* Upper case, group sign restored; false if it cannot be a code. */
bool wp_code_clean(const char *typed, char code[WP_CODE_ROOM]);

/* Argon2id (RFC 9106) with libsodium's "interactive" parameters. WP_NO_MEMORY. `check` is false for
 * a wrong password and for a text that is no hash. */
enum wp_status wp_password_hash(const char *password, char hash[WP_PASSWORD_ROOM]);
bool wp_password_check(const char *password, const char *hash);

#define WP_KEY_SIZE 32

/* Reads a key from a file of exactly WP_KEY_SIZE bytes; makes both, synced and for the owner alone,
 * where there is no such file. WP_IO; WP_INVALID: the file is something else. */
enum wp_status wp_key_file(const char *path, unsigned char key[WP_KEY_SIZE],
                           struct wp_error *error);

/* Equality in constant time. */
bool wp_equal(const void *a, const void *b, size_t size);

#endif
