/* pattern.h - which paths below a watched folder are meant.
 *
 * A pattern is a path with wildcards, relative to the watched folder, parts separated by '/':
 * `*` stands for any characters of one part, `?` for one character, a part that is `**` for any
 * number of parts. A pattern that matches a folder means all that is in it.
 * Example: "Users/" "*" "/Documents/IR". Pure; any thread.
 */
#ifndef AGENT_PATTERN_H
#define AGENT_PATTERN_H

#include <stdbool.h>
#include <stddef.h>

#define WP_PATTERN_MOST 256 /* bytes of one pattern */
#define WP_PATTERNS_MOST 64

struct wp_patterns {
    size_t include_count, exclude_count;
    char include[WP_PATTERNS_MOST][WP_PATTERN_MOST]; /* none: everything */
    char exclude[WP_PATTERNS_MOST][WP_PATTERN_MOST];
};

/* False: empty, absolute, too long, with a part ".." or more than 32 parts or 3 times "**". */
bool wp_pattern_usable(const char *pattern);

/* True if the path itself matches. */
bool wp_pattern_match(const char *pattern, const char *path);

/* True if files of that path are taken: it or a folder above it is included, none is excluded. */
bool wp_patterns_take(const struct wp_patterns *patterns, const char *path);

/* True if something below this folder could be taken, so that it is worth walking. */
bool wp_patterns_enter(const struct wp_patterns *patterns, const char *folder);

#endif
