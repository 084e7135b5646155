#include "mailbox_read.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { UID_MOST_DIGITS = 10 };

/* Numbers of RFC 3501 are 32 bits wide. False if there is none. */
static bool read_number(const char **at, int64_t *value)
{
    size_t digits = strspn(*at, "0123456789");
    if (digits == 0 || digits > UID_MOST_DIGITS)
        return false;
    *value = strtoll(*at, NULL, 10);
    *at += digits;
    return *value <= UINT32_MAX;
}

/* The number after a word such as "UIDNEXT ". */
static bool number_after(const char *answer, const char *word, int64_t *value)
{
    const char *at = strcasestr(answer, word);
    if (at == NULL)
        return false;
    at += strlen(word);
    return read_number(&at, value);
}

bool wp_mailbox_status(const char *answer, int64_t *validity, int64_t *next)
{
    const char *status = strcasestr(answer, "* STATUS ");
    return status != NULL && number_after(status, "UIDVALIDITY ", validity) &&
           number_after(status, "UIDNEXT ", next);
}

static int by_number(const void *a, const void *b)
{
    int64_t first = *(const int64_t *)a;
    int64_t second = *(const int64_t *)b;
    return (first > second) - (first < second);
}

static size_t without_repeats(int64_t *uids, size_t count)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (kept == 0 || uids[kept - 1] != uids[i])
            uids[kept++] = uids[i];
    return kept;
}

size_t wp_mailbox_found(const char *answer, int64_t first, int64_t last, int64_t *uids, size_t room)
{
    size_t count = 0;
    const char *at = strcasestr(answer, "* SEARCH");
    if (at == NULL)
        return 0;
    at += strlen("* SEARCH");
    while (count < room && *at == ' ') {
        int64_t uid;
        at++;
        if (!read_number(&at, &uid))
            break;
        if (uid >= first && uid <= last)
            uids[count++] = uid;
    }
    qsort(uids, count, sizeof *uids, by_number);
    return without_repeats(uids, count);
}
