#include "base/secret.h"

#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* No 0 1 I L O U: nothing that is misread, and fewer words by accident. */
static const char code_alphabet[] = "23456789ABCDEFGHJKMNPQRSTVWXYZ";
#define CODE_LETTERS 8

enum wp_status wp_secret_init(void)
{
    return sodium_init() < 0 ? WP_IO : WP_OK;
}

void wp_random(void *data, size_t size)
{
    randombytes_buf(data, size);
}

uint32_t wp_random_below(uint32_t bound)
{
    return randombytes_uniform(bound);
}

void wp_token_new(char token[WP_TOKEN_ROOM])
{
    unsigned char raw[32];
    randombytes_buf(raw, sizeof raw);
    (void)sodium_bin2base64(token, WP_TOKEN_ROOM, raw, sizeof raw,
                            sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    sodium_memzero(raw, sizeof raw);
}

void wp_token_hash(const char *token, unsigned char hash[WP_HASH_SIZE])
{
    (void)crypto_generichash(hash, WP_HASH_SIZE, (const unsigned char *)token, strlen(token), NULL,
                             0);
}

void wp_keyed_hash(const unsigned char key[WP_HASH_SIZE], const void *data, size_t size,
                   unsigned char hash[WP_HASH_SIZE])
{
    (void)crypto_generichash(hash, WP_HASH_SIZE, data, size, key, WP_HASH_SIZE);
}

static enum wp_status make_key(const char *path, unsigned char key[WP_KEY_SIZE])
{
    int file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    randombytes_buf(key, WP_KEY_SIZE);
    if (file < 0)
        return WP_IO;
    bool wrote = write(file, key, WP_KEY_SIZE) == WP_KEY_SIZE && fsync(file) == 0;
    bool closed = close(file) == 0;
    if (!wrote || !closed)
        (void)unlink(path);
    return wrote && closed ? WP_OK : WP_IO;
}

enum wp_status wp_key_file(const char *path, unsigned char key[WP_KEY_SIZE], struct wp_error *error)
{
    unsigned char more;
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    if (file < 0 && errno == ENOENT)
        return make_key(path, key) ? wp_fail(error, WP_IO, "%s: %s", path, strerror(errno)) : WP_OK;
    if (file < 0)
        return wp_fail(error, WP_IO, "%s: %s", path, strerror(errno));
    bool whole = read(file, key, WP_KEY_SIZE) == WP_KEY_SIZE && read(file, &more, 1) == 0;
    (void)close(file);
    return whole ? WP_OK
                 : wp_fail(error, WP_INVALID, "%s is not a key of %d bytes.", path, WP_KEY_SIZE);
}

/* Lays the letters out in two groups. */
static void group(const char letters[CODE_LETTERS], char code[WP_CODE_ROOM])
{
    memcpy(code, letters, 4);
    code[4] = '-';
    memcpy(code + 5, letters + 4, 4);
    code[9] = '\0';
}

void wp_code_new(char code[WP_CODE_ROOM])
{
    char letters[CODE_LETTERS];
    for (size_t i = 0; i < CODE_LETTERS; i++)
        letters[i] = code_alphabet[randombytes_uniform(sizeof code_alphabet - 1)];
    group(letters, code);
}

bool wp_code_clean(const char *typed, char code[WP_CODE_ROOM])
{
    char letters[CODE_LETTERS];
    size_t used = 0;
    for (; *typed; typed++) {
        if (*typed == ' ' || *typed == '-')
            continue;
        char c = *typed >= 'a' && *typed <= 'z' ? (char)(*typed - 'a' + 'A') : *typed;
        if (used == CODE_LETTERS || !strchr(code_alphabet, c))
            return false;
        letters[used++] = c;
    }
    if (used != CODE_LETTERS)
        return false;
    group(letters, code);
    return true;
}

enum wp_status wp_password_hash(const char *password, char hash[WP_PASSWORD_ROOM])
{
    _Static_assert(WP_PASSWORD_ROOM >= crypto_pwhash_STRBYTES, "room for a password hash");
    return crypto_pwhash_str_alg(hash, password, strlen(password),
                                 crypto_pwhash_OPSLIMIT_INTERACTIVE,
                                 crypto_pwhash_MEMLIMIT_INTERACTIVE, crypto_pwhash_ALG_ARGON2ID13)
               ? WP_NO_MEMORY
               : WP_OK;
}

bool wp_password_check(const char *password, const char *hash)
{
    return crypto_pwhash_str_verify(hash, password, strlen(password)) == 0;
}

bool wp_equal(const void *a, const void *b, size_t size)
{
    return sodium_memcmp(a, b, size) == 0;
}
