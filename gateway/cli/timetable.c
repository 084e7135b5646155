/* The verbs of time: terms, weekly meetings, single meetings. */
#include <stdio.h>
#include <string.h>

#include "set_up.h"

static const char *word(const struct set_up *set_up, size_t at)
{
    return set_up->words.count > at ? set_up->words.words[at] : NULL;
}

static void add_where(char *path, size_t room, const struct set_up *set_up)
{
    static const char *const names[] = {"course", "section"};
    size_t used = strlen(path);
    for (int i = 0; i < 2; i++) {
        const char *value = wp_words_value(&set_up->words, names[i]);
        used += value ? (size_t)snprintf(path + used, room - used, "%c%s=", i ? '&' : '?', names[i])
                      : 0;
        for (; value && *value && used + 4 < room; value++)
            used += (size_t)snprintf(path + used, room - used, "%%%02X",
                                     (unsigned)(unsigned char)*value);
    }
}

/* ---- terms ---- */

static int term_list(struct set_up *set_up)
{
    static const char *const columns[] = {"code", "first", "last", "title", NULL};
    cJSON *answer = NULL;
    int code = wp_set_up_call(set_up, "GET", "/api/v1/terms", &answer);
    if (!code)
        wp_print_table(cJSON_GetObjectItemCaseSensitive(answer, "terms"), columns,
                       "There is no term.");
    cJSON_Delete(answer);
    return code;
}

static int term_remove(struct set_up *set_up, const char *name)
{
    cJSON *answer = NULL;
    const cJSON *term = NULL;
    char path[64] = "";
    int code = wp_set_up_call(set_up, "GET", "/api/v1/terms", &answer);
    cJSON_ArrayForEach(term, cJSON_GetObjectItemCaseSensitive(answer, "terms"))
    {
        const char *found = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(term, "code"));
        if (found && !strcmp(found, name))
            (void)snprintf(path, sizeof path, "/api/v1/terms/%.0f",
                           cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(term, "id")));
    }
    cJSON_Delete(answer);
    if (code)
        return code;
    return path[0] ? wp_set_up_call(set_up, "DELETE", path, NULL)
                   : wp_cli_fail("there is no term \"%s\"", name);
}

static int term(struct set_up *set_up, const char *what)
{
    const char *name = word(set_up, 1);
    if (!strcmp(what, "list"))
        return term_list(set_up);
    if (!name)
        return wp_cli_usage("the term's code is missing");
    cJSON_AddStringToObject(set_up->body, "code", name);
    if (!strcmp(what, "add") || !strcmp(what, "change")) {
        cJSON_AddBoolToObject(set_up->body, "change", !strcmp(what, "change"));
        return wp_set_up_call(set_up, "POST", "/api/v1/terms", NULL);
    }
    if (!strcmp(what, "remove"))
        return term_remove(set_up, name);
    return wp_cli_usage("a term is added, changed, listed or removed");
}

/* ---- weekly meetings ---- */

static void print_exceptions(const cJSON *weekly)
{
    const cJSON *one = NULL;
    cJSON_ArrayForEach(one, cJSON_GetObjectItemCaseSensitive(weekly, "exceptions"))
    {
        char day[32], moved[32], starts[32], ends[32], place[256];
        wp_member_words(one, "day", day, sizeof day);
        wp_member_words(one, "moved_to", moved, sizeof moved);
        wp_member_words(one, "starts", starts, sizeof starts);
        wp_member_words(one, "ends", ends, sizeof ends);
        wp_member_words(one, "place", place, sizeof place);
        if (moved[0])
            printf("    not %s, but %s %s-%s %s\n", day, moved, starts, ends, place);
        else
            printf("    not %s\n", day);
    }
}

static int list(struct set_up *set_up)
{
    static const char *const weekly_columns[] = {"id",   "course", "section", "weekday", "starts",
                                                 "ends", "from",   "until",   "place",   NULL};
    static const char *const columns[] = {"id",   "course", "section", "starts",
                                          "ends", "place",  NULL};
    char path[1024] = "/api/v1/timetable";
    cJSON *answer = NULL;
    const cJSON *one = NULL;
    add_where(path, sizeof path, set_up);
    int code = wp_set_up_call(set_up, "GET", path, &answer);
    if (code)
        return code;
    const cJSON *weekly = cJSON_GetObjectItemCaseSensitive(answer, "weekly");
    cJSON_ArrayForEach(one, weekly)
    {
        /* each with its exceptions below it */
        cJSON *alone = cJSON_CreateArray();
        cJSON_AddItemToArray(alone, cJSON_Duplicate(one, true));
        wp_print_table(alone, weekly_columns, "");
        cJSON_Delete(alone);
        print_exceptions(one);
    }
    puts(cJSON_GetArraySize(weekly) ? "\nTo come:" : "No weekly meeting. To come:");
    wp_print_table(cJSON_GetObjectItemCaseSensitive(answer, "meetings"), columns, "No meeting.");
    cJSON_Delete(answer);
    return code;
}

static int print_weekly(struct set_up *set_up, const char *method, const char *path)
{
    cJSON *answer = NULL;
    char id[32], count[32];
    int code = wp_set_up_call(set_up, method, path, &answer);
    wp_member_words(answer, "id", id, sizeof id);
    wp_member_words(answer, "meetings", count, sizeof count);
    if (!code)
        printf("Weekly meeting %s; to come: %s.\n", id, count);
    cJSON_Delete(answer);
    return code;
}

static int except(struct set_up *set_up)
{
    cJSON *answer = NULL;
    char count[32];
    int code = wp_set_up_call(set_up, "POST", "/api/v1/timetable/exceptions", &answer);
    wp_member_words(answer, "changed", count, sizeof count);
    if (!code)
        printf("Changed on that day: %s.\n", count);
    cJSON_Delete(answer);
    return code;
}

/* "/api/v1/NOUN/ID" of the id on the command line. */
static bool path_of(const struct set_up *set_up, const char *noun, char path[64])
{
    const char *id = word(set_up, 1);
    bool good = id && *id && strlen(id) < 20 && strspn(id, "0123456789") == strlen(id);
    if (good)
        (void)snprintf(path, 64, "/api/v1/%s/%s", noun, id);
    return good;
}

static int timetable(struct set_up *set_up, const char *what)
{
    char path[64];
    if (!strcmp(what, "list"))
        return list(set_up);
    if (!strcmp(what, "add"))
        return print_weekly(set_up, "POST", "/api/v1/timetable");
    if (!strcmp(what, "except"))
        return except(set_up);
    bool change = !strcmp(what, "change");
    if (!change && strcmp(what, "end") != 0)
        return wp_cli_usage("a timetable's weekly meetings are added, changed, ended, listed, or "
                            "given an exception (except)");
    if (!path_of(set_up, "timetable", path))
        return wp_cli_usage("the number of the weekly meeting is missing; \"timetable list\" shows "
                            "it");
    return change ? print_weekly(set_up, "PATCH", path)
                  : wp_set_up_call(set_up, "DELETE", path, NULL);
}

static int meeting(struct set_up *set_up, const char *what)
{
    char path[64];
    if (!strcmp(what, "list"))
        return list(set_up);
    if (!strcmp(what, "add"))
        return wp_set_up_call(set_up, "POST", "/api/v1/meetings", NULL);
    if (strcmp(what, "remove") != 0)
        return wp_cli_usage("a meeting is added, listed or removed");
    if (!path_of(set_up, "meetings", path))
        return wp_cli_usage("the number of the meeting is missing; \"meeting list\" shows it");
    return wp_set_up_call(set_up, "DELETE", path, NULL);
}

int wp_set_up_timetable(struct set_up *set_up)
{
    const char *what = word(set_up, 0);
    if (!what)
        what = "list";
    if (!strcmp(set_up->verb, "term"))
        return term(set_up, what);
    if (!strcmp(set_up->verb, "timetable"))
        return timetable(set_up, what);
    return strcmp(set_up->verb, "meeting") != 0 ? -1 : meeting(set_up, what);
}
