#include "base/digest.h"

#include <gnutls/crypto.h>
#include <gnutls/gnutls.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct wp_sha256 {
    gnutls_hash_hd_t handle;
};

enum wp_status wp_sha256(const void *data, size_t size, unsigned char digest[WP_SHA256_SIZE])
{
    return gnutls_hash_fast(GNUTLS_DIG_SHA256, data ? data : "", size, digest) ? WP_IO : WP_OK;
}

enum wp_status wp_sha256_begin(struct wp_sha256 **state)
{
    *state = malloc(sizeof **state);
    if (!*state)
        return WP_NO_MEMORY;
    if (gnutls_hash_init(&(*state)->handle, GNUTLS_DIG_SHA256)) {
        free(*state);
        *state = NULL;
        return WP_NO_MEMORY;
    }
    return WP_OK;
}

enum wp_status wp_sha256_add(struct wp_sha256 *state, const void *data, size_t size)
{
    return size && gnutls_hash(state->handle, data, size) ? WP_IO : WP_OK;
}

void wp_sha256_end(struct wp_sha256 *state, unsigned char digest[WP_SHA256_SIZE])
{
    gnutls_hash_deinit(state->handle, digest);
    free(state);
}

void wp_sha256_drop(struct wp_sha256 *state)
{
    if (!state)
        return;
    gnutls_hash_deinit(state->handle, NULL);
    free(state);
}

void wp_content_digest_format(const unsigned char digest[WP_SHA256_SIZE],
                              char text[WP_CONTENT_DIGEST_ROOM])
{
    char base64[48];
    (void)sodium_bin2base64(base64, sizeof base64, digest, WP_SHA256_SIZE,
                            sodium_base64_VARIANT_ORIGINAL);
    (void)snprintf(text, WP_CONTENT_DIGEST_ROOM, "sha-256=:%s:", base64);
}

static const char *skip_blanks(const char *text)
{
    return text + strspn(text, " \t");
}

/* One member "key=:base64:" and what follows it up to the next comma. NULL: malformed. */
static const char *read_member(const char *text, unsigned char digest[WP_SHA256_SIZE], bool *found)
{
    size_t key = strcspn(text, "=,");
    if (text[key] != '=' || text[key + 1] != ':')
        return NULL;
    const char *value = text + key + 2;
    size_t length = strcspn(value, ":");
    if (value[length] != ':')
        return NULL;
    if (key == 7 && memcmp(text, "sha-256", 7) == 0) {
        size_t size = 0;
        if (sodium_base642bin(digest, WP_SHA256_SIZE, value, length, NULL, &size, NULL,
                              sodium_base64_VARIANT_ORIGINAL) ||
            size != WP_SHA256_SIZE)
            return NULL;
        *found = true;
    }
    const char *rest = value + length + 1;
    if (*rest == ';')
        rest += strcspn(rest, ",");
    return skip_blanks(rest);
}

bool wp_content_digest_parse(const char *text, unsigned char digest[WP_SHA256_SIZE])
{
    bool found = false;
    text = skip_blanks(text);
    for (;;) {
        text = read_member(text, digest, &found);
        if (!text || (*text && *text != ','))
            return false;
        if (!*text)
            return found;
        text = skip_blanks(text + 1);
    }
}
