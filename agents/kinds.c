#include "kinds.h"

#include <ctype.h>
#include <stdint.h>
#include <string.h>
#include <strings.h>

static bool among(const char *word, const char *const *list)
{
    for (; *list; list++)
        if (!strcasecmp(word, *list))
            return true;
    return false;
}

enum wp_kind wp_kind_of(const char *name)
{
    static const char *const jcamp[] = {"jdx", "dx", "jcm", "jcamp", NULL};
    static const char *const text[] = {"csv", "tsv", "txt", "asc", "prn", "dat", NULL};
    static const char *const passing[] = {"tmp",  "temp", "part", "partial", "crdownload",
                                          "lock", "lck",  "swp",  "bak",     NULL};
    size_t length = strlen(name);
    const char *dot = strrchr(name, '.');
    if (name[0] == '.' || name[0] == '~' || (length && name[length - 1] == '~'))
        return WP_KIND_IGNORED;
    if (!dot)
        return WP_KIND_OTHER;
    if (among(dot + 1, jcamp))
        return WP_KIND_JCAMP;
    if (among(dot + 1, text))
        return WP_KIND_TEXT;
    return among(dot + 1, passing) ? WP_KIND_IGNORED : WP_KIND_OTHER;
}

/* True if the line carries this label: "##", the name with blanks, '-', '/' and '_' skipped, '='.
 */
static bool labelled(const char *line, size_t size, const char *label)
{
    size_t at = 2;
    if (size < 3 || line[0] != '#' || line[1] != '#')
        return false;
    for (; at < size && line[at] != '='; at++) {
        if (strchr(" -/_", line[at]))
            continue;
        if (toupper((unsigned char)line[at]) != *label)
            return false;
        label++;
    }
    return at < size && !*label;
}

static bool blank(const char *line, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (!isspace((unsigned char)line[i]))
            return false;
    return true;
}

bool wp_jcamp_complete(const char *text, size_t size)
{
    long open = 0;
    bool begun = false;
    bool ended = false;
    for (size_t at = 0; at < size;) {
        const char *line = text + at;
        const char *end = memchr(line, '\n', size - at);
        size_t length = end ? (size_t)(end - line) : size - at;
        while (length && (*line == ' ' || *line == '\t')) {
            line++;
            length--;
        }
        if (labelled(line, length, "TITLE")) {
            open++;
            begun = true;
        } else if (labelled(line, length, "END")) {
            open--;
        }
        if (!blank(line, length))
            ended = labelled(line, length, "END");
        at = end ? (size_t)(end - text) + 1 : size;
    }
    return begun && ended && open == 0;
}
