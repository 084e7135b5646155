/* The verb that brings a roster in, or shows it. */
#include <stdio.h>
#include <string.h>

#include "set_up.h"

static int show(struct set_up *set_up)
{
    static const char *const columns[] = {"login", "family", "given", "number", "state", NULL};
    cJSON *answer = NULL, *student = NULL;
    char path[64];
    long long id = 0;
    int code = wp_set_up_section(set_up, &id);
    (void)snprintf(path, sizeof path, "/api/v1/sections/%lld/roster", id);
    if (!code)
        code = wp_set_up_call(set_up, "GET", path, &answer);
    const cJSON *students = cJSON_GetObjectItemCaseSensitive(answer, "students");
    cJSON_ArrayForEach(student, students)
    {
        bool left = cJSON_IsNumber(cJSON_GetObjectItemCaseSensitive(student, "to_us"));
        cJSON_AddStringToObject(student, "state", left ? "left" : "");
    }
    if (!code)
        wp_print_table(students, columns, "Nobody.");
    cJSON_Delete(answer);
    return code;
}

static int count_and_print(const cJSON *answer, const char *name, char sign)
{
    const cJSON *item = NULL, *list = cJSON_GetObjectItemCaseSensitive(answer, name);
    cJSON_ArrayForEach(item, list)
    {
        printf("%c %s\n", sign, cJSON_IsString(item) ? item->valuestring : "");
    }
    return cJSON_GetArraySize(list);
}

/* What differs, a line each; then the sum. */
static void print_difference(const cJSON *answer)
{
    int added = count_and_print(answer, "added", '+');
    int changed = count_and_print(answer, "changed", '~');
    int left = count_and_print(answer, "left", '-');
    printf("%d added, %d changed, %d left, %d as before; %s\n", added, changed, left,
           (int)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(answer, "same")),
           cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(answer, "applied"))
               ? "applied"
               : "nothing was changed");
}

int wp_set_up_roster(struct set_up *set_up)
{
    struct wp_bytes bytes = {0};
    struct wp_error error = {0};
    cJSON *answer = NULL;
    const char *file = set_up->words.count ? set_up->words.words[0] : "list";
    if (!strcmp(file, "list"))
        return show(set_up);
    if (wp_cli_load(file, (size_t)2 << 20, &bytes, &error))
        return wp_cli_fail("%s: %s", file, error.text);
    cJSON_AddStringToObject(set_up->body, "csv", bytes.data ? bytes.data : "");
    wp_bytes_release(&bytes);
    int code = wp_set_up_call(set_up, "POST", "/api/v1/roster", &answer);
    const cJSON *bad = NULL, *errors = cJSON_GetObjectItemCaseSensitive(answer, "errors");
    cJSON_ArrayForEach(bad, errors)
    {
        char text[256];
        wp_member_words(bad, "text", text, sizeof text);
        code = wp_cli_fail("%s:%d: %s", file,
                           (int)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(bad, "line")),
                           text);
    }
    if (answer)
        print_difference(answer);
    cJSON_Delete(answer);
    return code;
}
