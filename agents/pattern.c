#include "pattern.h"

#include <string.h>

#define MOST_PARTS 32
#define MOST_DOUBLE 3

static const char *part_end(const char *path)
{
    const char *slash = strchr(path, '/');
    return slash ? slash : path + strlen(path);
}

static const char *after(const char *end)
{
    return *end ? end + 1 : end;
}

static bool is_double(const char *part, const char *end)
{
    return end - part == 2 && part[0] == '*' && part[1] == '*';
}

/* One part against one part: the usual wildcard match with one point to come back to. */
static bool part_match(const char *glob, const char *glob_end, const char *text, const char *end)
{
    const char *star = NULL;
    const char *resume = NULL;
    while (text < end) {
        if (glob < glob_end && *glob == '*') {
            star = ++glob;
            resume = text;
        } else if (glob < glob_end && (*glob == '?' || *glob == *text)) {
            glob++;
            text++;
        } else if (star) {
            glob = star;
            text = ++resume;
        } else {
            return false;
        }
    }
    while (glob < glob_end && *glob == '*')
        glob++;
    return glob == glob_end;
}

enum wish {
    WHOLE,  /* pattern and path end together */
    PARENT, /* the pattern ends at a folder above the path, or with it */
    CHILD   /* the path ends at or before the pattern: something below it could match */
};

/* Depth of the recursion: one for each "**" of the pattern and each part of the path. */
static bool match(const char *glob, const char *path, enum wish wish)
{
    while (*glob) {
        const char *glob_end = part_end(glob);
        if (is_double(glob, glob_end)) {
            const char *rest = after(glob_end);
            for (;;) {
                if (match(rest, path, wish))
                    return true;
                if (!*path)
                    return wish == CHILD;
                path = after(part_end(path));
            }
        }
        if (!*path)
            return wish == CHILD;
        const char *end = part_end(path);
        if (!part_match(glob, glob_end, path, end))
            return false;
        glob = after(glob_end);
        path = after(end);
    }
    return wish == PARENT || wish == CHILD || !*path;
}

bool wp_pattern_usable(const char *pattern)
{
    size_t parts = 0;
    size_t doubles = 0;
    if (!*pattern || *pattern == '/' || strlen(pattern) >= WP_PATTERN_MOST)
        return false;
    for (const char *part = pattern; *part; part = after(part_end(part))) {
        const char *end = part_end(part);
        bool up = end - part == 2 && part[0] == '.' && part[1] == '.';
        if (end == part || up || ++parts > MOST_PARTS)
            return false;
        if (is_double(part, end) && ++doubles > MOST_DOUBLE)
            return false;
    }
    return true;
}

bool wp_pattern_match(const char *pattern, const char *path)
{
    return match(pattern, path, WHOLE);
}

static bool any(const char (*list)[WP_PATTERN_MOST], size_t count, const char *path, enum wish wish)
{
    for (size_t i = 0; i < count; i++)
        if (match(list[i], path, wish))
            return true;
    return false;
}

bool wp_patterns_take(const struct wp_patterns *patterns, const char *path)
{
    return (!patterns->include_count ||
            any(patterns->include, patterns->include_count, path, PARENT)) &&
           !any(patterns->exclude, patterns->exclude_count, path, PARENT);
}

bool wp_patterns_enter(const struct wp_patterns *patterns, const char *folder)
{
    return (!patterns->include_count ||
            any(patterns->include, patterns->include_count, folder, CHILD)) &&
           !any(patterns->exclude, patterns->exclude_count, folder, PARENT);
}
