/* The mark by which a mail of ours is known again. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"
#include "post/report.h"

enum { NUMBER_DIGITS = 16, CHECK_BYTES = 10, LOCAL_MOST = 64 };

void wp_mail_mark(const unsigned char key[WP_HASH_SIZE], int64_t id, char mark[WP_MAIL_MARK_ROOM])
{
    unsigned char raw[8];
    unsigned char hash[WP_HASH_SIZE];
    char check[2 * CHECK_BYTES + 1];
    for (int i = 0; i < 8; i++)
        raw[i] = (unsigned char)((uint64_t)id >> (56 - 8 * i));
    wp_keyed_hash(key, raw, sizeof raw, hash);
    wp_hex_encode(hash, CHECK_BYTES, check);
    snprintf(mark, WP_MAIL_MARK_ROOM, "w%016llx-%s", (unsigned long long)id, check);
}

bool wp_mail_mark_check(const unsigned char key[WP_HASH_SIZE], const char *mark, int64_t *id)
{
    char own[WP_MAIL_MARK_ROOM];
    char digits[NUMBER_DIGITS + 1];
    if (mark[0] != 'w' || strlen(mark) != 1 + NUMBER_DIGITS + 1 + 2 * CHECK_BYTES)
        return false;
    memcpy(digits, mark + 1, NUMBER_DIGITS);
    digits[NUMBER_DIGITS] = '\0';
    if (strspn(digits, "0123456789abcdef") != NUMBER_DIGITS || digits[0] > '7')
        return false;
    *id = (int64_t)strtoull(digits, NULL, 16);
    wp_mail_mark(key, *id, own);
    return wp_equal(own, mark, strlen(own));
}

void wp_mail_sender(const struct wp_post_options *options, const char *mark,
                    char sender[WP_ADDRESS_ROOM])
{
    const char *at = strchr(options->from, '@');
    size_t local = at != NULL ? (size_t)(at - options->from) : 0;
    snprintf(sender, WP_ADDRESS_ROOM, "%s", options->from);
    if (at == NULL || mark == NULL || options->sub_address == NULL ||
        local + strlen(options->sub_address) + strlen(mark) > LOCAL_MOST)
        return;
    snprintf(sender, WP_ADDRESS_ROOM, "%.*s%s%s%s", (int)local, options->from, options->sub_address,
             mark, at);
    if (!wp_address_valid(sender))
        snprintf(sender, WP_ADDRESS_ROOM, "%s", options->from);
}
