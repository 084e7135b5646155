#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "set_up.h"

#define COLUMNS_MOST 12
#define WORDS_ROOM 512

void wp_member_words(const cJSON *row, const char *name, char *text, size_t room)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(row, name), *part = NULL;
    const cJSON *list = cJSON_IsArray(item) ? item : NULL;
    size_t used = 0;
    text[0] = '\0';
    if (cJSON_IsString(item)) {
        (void)snprintf(text, room, "%s", item->valuestring);
    } else if (cJSON_IsNumber(item) && strlen(name) > 3 &&
               !strcmp(name + strlen(name) - 3, "_us")) {
        char when[WP_ISO_ROOM];
        wp_clock_local((int64_t)item->valuedouble, when);
        (void)snprintf(text, room, "%.19s", when);
    } else if (cJSON_IsObject(item)) {
        wp_member_words(item, "accession", text, room);
    } else if (cJSON_IsNumber(item)) {
        (void)snprintf(text, room, floor(item->valuedouble) == item->valuedouble ? "%.0f" : "%g",
                       item->valuedouble);
    } else if (cJSON_IsBool(item)) {
        (void)snprintf(text, room, "%s", cJSON_IsTrue(item) ? "yes" : "");
    }
    cJSON_ArrayForEach(part, list)
    {
        const char *word = cJSON_GetStringValue(part);
        int wrote = snprintf(text + used, room - used, "%s%s", used ? ", " : "", word ? word : "");
        used += wrote > 0 ? (size_t)wrote : 0;
        if (used >= room)
            break;
    }
}

/* Characters, not bytes: names come in any script. */
static size_t width(const char *text)
{
    size_t count = 0;
    for (; *text; text++)
        count += ((unsigned char)*text & 0xC0) != 0x80;
    return count;
}

void wp_print_table(const cJSON *rows, const char *const names[], const char *none)
{
    size_t widest[COLUMNS_MOST] = {0};
    char text[WORDS_ROOM];
    const cJSON *row = NULL;
    if (!cJSON_GetArraySize(rows))
        puts(none);
    cJSON_ArrayForEach(row, rows)
    {
        for (size_t i = 0; i < COLUMNS_MOST && names[i]; i++) {
            wp_member_words(row, names[i], text, sizeof text);
            widest[i] = width(text) > widest[i] ? width(text) : widest[i];
        }
    }
    cJSON_ArrayForEach(row, rows)
    {
        size_t blanks = 0; /* owed before the next word, so that none ends a line */
        for (size_t i = 0; i < COLUMNS_MOST && names[i]; i++) {
            wp_member_words(row, names[i], text, sizeof text);
            if (text[0])
                printf("%*s%s", (int)blanks, "", text);
            blanks = (text[0] ? 0 : blanks) + widest[i] + 2 - width(text);
        }
        putchar('\n');
    }
}
