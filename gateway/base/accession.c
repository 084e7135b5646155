#include "base/accession.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static const char alphabet[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

static char upper(char c)
{
    return c >= 'a' && c <= 'z' ? (char)(c - 'a' + 'A') : c;
}

char wp_mod_37_36(const char *text)
{
    unsigned product = 36;
    for (; *text; text++) {
        const char *place = strchr(alphabet, upper(*text));
        if (!place)
            return '\0';
        unsigned sum = (product + (unsigned)(place - alphabet)) % 36;
        product = (sum ? sum : 36) * 2 % 37;
    }
    return alphabet[(37 - product) % 36];
}

char wp_accession_check(uint64_t number)
{
    char digits[WP_ACCESSION_ROOM];
    (void)snprintf(digits, sizeof digits, "%" PRIu64, number);
    return wp_mod_37_36(digits);
}

bool wp_accession_usable(uint64_t number)
{
    return !strchr("ILO", wp_accession_check(number));
}

void wp_accession_format(uint64_t number, char text[WP_ACCESSION_ROOM])
{
    (void)snprintf(text, WP_ACCESSION_ROOM, "%" PRIu64 "%c", number, wp_accession_check(number));
}

/* Copies what was typed without blanks and hyphens. False if there is too much of it. */
static bool squeeze(const char *text, char out[WP_ACCESSION_ROOM])
{
    size_t used = 0;
    for (; *text; text++) {
        if (*text == ' ' || *text == '-')
            continue;
        if (used + 1 >= WP_ACCESSION_ROOM)
            return false;
        out[used++] = upper(*text);
    }
    out[used] = '\0';
    return used >= 2;
}

bool wp_accession_parse(const char *text, uint64_t *number)
{
    char typed[WP_ACCESSION_ROOM];
    if (!squeeze(text, typed) || (typed[0] == '0' && typed[2]))
        return false;
    uint64_t value = 0;
    size_t last = strlen(typed) - 1;
    for (size_t i = 0; i < last; i++) {
        if (typed[i] < '0' || typed[i] > '9')
            return false;
        unsigned digit = (unsigned)(typed[i] - '0');
        if (value > (UINT64_MAX - digit) / 10)
            return false;
        value = value * 10 + digit;
    }
    if (wp_accession_check(value) != typed[last] || !wp_accession_usable(value))
        return false;
    *number = value;
    return true;
}
