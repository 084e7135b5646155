#include <stdio.h>
#include <string.h>

#include "intake_parts.h"

/* Finds what a pattern such as "{login}_*" or "run *-{number}.jdx" leaves for its placeholder in a
 * file name: "*" stands for any text, the placeholder ends at the next literal. False: no match. */
static bool extract(const char *pattern, const char *name, char *found, size_t room)
{
    const char *open = strchr(pattern, '{'), *close = open ? strchr(open, '}') : NULL;
    if (!close)
        return false;
    size_t before = (size_t)(open - pattern);
    const char *at = name;
    if (before && pattern[before - 1] == '*') {
        /* "...x*{": the literal before the star must lead, then the placeholder follows the last
         * separator. */
        if (strncmp(name, pattern, before - 1) != 0)
            return false;
        const char *separator = strpbrk(name + before - 1, " _-");
        at = separator ? separator + 1 : name + before - 1;
    } else {
        if (strncmp(name, pattern, before) != 0)
            return false;
        at = name + before;
    }
    char stop = close[1];
    const char *end = !stop         ? at + strlen(at)
                      : stop == '*' ? at + strcspn(at, " _-.")
                                    : strchr(at, stop);
    if (!end || end == at || (size_t)(end - at) >= room)
        return false;
    memcpy(found, at, (size_t)(end - at));
    found[end - at] = '\0';
    return true;
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/'), *back = strrchr(path, '\\');
    const char *last = !slash || (back && back > slash) ? back : slash;
    return last ? last + 1 : path;
}

static enum wp_status look_up(struct wp_sql *sql, const char *text, int64_t *person)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT DISTINCT p.id FROM person p JOIN enrolled e ON e.person_id = p.id "
        "WHERE e.to_us IS NULL AND p.erased_us IS NULL AND (lower(p.login) = lower(?1) OR "
        "(e.number <> '' AND e.number = ?1)) LIMIT 2",
        "t", text);
    if (status)
        return status;
    int found = 0;
    while (wp_rows_next(&rows))
        *person = found++ ? 0 : wp_rows_int(&rows, 0);
    return wp_rows_end(&rows);
}

enum wp_status wp_identity_find(struct wp_sql *sql, int64_t instrument, const char *path,
                                const struct wp_spectrum *spectrum, int64_t *person)
{
    *person = 0;
    struct wp_rows rows;
    char pattern[128] = "", found[96] = "";
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT name_pattern FROM instrument WHERE id = ?", "i", instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows))
        (void)snprintf(pattern, sizeof pattern, "%s", wp_rows_text(&rows, 0));
    status = wp_rows_end(&rows);
    if (status || !pattern[0])
        return status;
    if (!strncmp(pattern, "##", 2)) {
        pattern[strcspn(pattern, "=")] = '\0';
        const char *value = wp_spectrum_label(spectrum, pattern + 2);
        (void)snprintf(found, sizeof found, "%s", value ? value : "");
    } else if (!extract(pattern, base_name(path), found, sizeof found)) {
        return WP_OK;
    }
    return found[0] ? look_up(sql, found, person) : WP_OK;
}
