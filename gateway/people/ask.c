#include "people/ask.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Whole numbers that a JSON number holds exactly. */
#define LARGEST INT64_C(9007199254740992)

static const cJSON *member(const struct wp_ask *ask, const char *name)
{
    const cJSON *found = ask->body ? cJSON_GetObjectItemCaseSensitive(ask->body, name) : NULL;
    return found ? found : cJSON_GetObjectItemCaseSensitive(ask->query, name);
}

static bool parse_whole(const char *text, int64_t *value)
{
    char *end = NULL;
    errno = 0;
    long long number = strtoll(text, &end, 10);
    if (errno || end == text || *end || number > LARGEST || number < -LARGEST)
        return false;
    *value = number;
    return true;
}

const char *wp_ask_text(const struct wp_ask *ask, const char *name)
{
    return cJSON_GetStringValue(member(ask, name));
}

bool wp_ask_int(const struct wp_ask *ask, const char *name, int64_t *value)
{
    const cJSON *found = member(ask, name);
    if (cJSON_IsString(found))
        return parse_whole(found->valuestring, value);
    if (!cJSON_IsNumber(found) || fabs(found->valuedouble) > (double)LARGEST ||
        floor(found->valuedouble) != found->valuedouble)
        return false;
    *value = (int64_t)found->valuedouble;
    return true;
}

bool wp_ask_int_within(const struct wp_ask *ask, const char *name, int64_t low, int64_t high,
                       int64_t *value)
{
    int64_t number = 0;
    if (!member(ask, name))
        return true;
    if (!wp_ask_int(ask, name, &number) || number < low || number > high)
        return false;
    *value = number;
    return true;
}

bool wp_ask_flag(const struct wp_ask *ask, const char *name)
{
    const cJSON *found = member(ask, name);
    const char *text = cJSON_GetStringValue(found);
    return cJSON_IsTrue(found) || (text && (!strcmp(text, "1") || !strcmp(text, "true") ||
                                            !strcmp(text, "yes") || !strcmp(text, "on")));
}

bool wp_ask_param_int(const struct wp_ask *ask, unsigned index, int64_t *value)
{
    return index < WP_ASK_PARAMS && ask->param[index] && parse_whole(ask->param[index], value) &&
           *value > 0;
}

enum wp_status wp_ask_record(struct wp_txn *txn, const struct wp_ask *ask, const char *verb,
                             const char *table, int64_t id, const char *detail)
{
    char subject[96];
    (void)snprintf(subject, sizeof subject, "%s:%" PRId64, table, id);
    /* Who has no name here is at least known by the operating system's. */
    if (!detail && ask->who->actor == WP_ACTOR_COMMAND)
        detail = ask->who->command_name;
    return wp_ledger_add(txn, ask->who->actor, ask->who->id, verb, subject, detail, NULL);
}
