/* The verb that brings a roster in, or shows it. */
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "base/characters.h"
#include "set_up.h"

#define ROSTER_MOST ((size_t)2 << 20)

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

/* Spreadsheets on Windows still save CSV in its old encoding. What is neither is no text. */
static int add_text(cJSON *body, const char *file, const struct wp_bytes *bytes)
{
    const char *data = bytes->data ? bytes->data : "";
    struct wp_bytes text;
    char one[4];
    for (size_t i = 0; i < bytes->size; i++)
        if ((unsigned char)data[i] < 0x20 && !strchr("\t\r\n", data[i] ? data[i] : '?'))
            return wp_cli_fail("%s is no text: save the roster as CSV", file);
    if (wp_utf8_valid(data, bytes->size)) {
        cJSON_AddStringToObject(body, "csv", data);
        return WP_EXIT_DONE;
    }
    wp_bytes_init(&text, 3 * ROSTER_MOST);
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < bytes->size; i++)
        status = wp_bytes_add(&text, one, wp_windows1252_to_utf8((unsigned char)data[i], one));
    if (!status) {
        fprintf(stderr, "wavepost: %s is not UTF-8 and is read as Windows-1252\n", file);
        cJSON_AddStringToObject(body, "csv", text.data);
    }
    wp_bytes_release(&text);
    return status ? wp_cli_fail("%s: out of memory", file) : WP_EXIT_DONE;
}

int wp_set_up_roster(struct set_up *set_up)
{
    struct wp_bytes bytes = {0};
    struct wp_error error = {0};
    cJSON *answer = NULL;
    const char *file = set_up->words.count ? set_up->words.words[0] : "list";
    if (!strcmp(file, "list"))
        return show(set_up);
    if (wp_cli_load(file, ROSTER_MOST, &bytes, &error))
        return wp_cli_fail("%s: %s", file, error.text);
    int code = add_text(set_up->body, file, &bytes);
    wp_bytes_release(&bytes);
    if (code)
        return code;
    code = wp_set_up_call(set_up, "POST", "/api/v1/roster", &answer);
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
