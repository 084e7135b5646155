/* walk.h - looking at one file, and at all files below a folder. Blocks, for as long as a network
 * share likes to; so it is called from a folder's own thread. Symbolic links are not followed.
 */
#ifndef AGENT_WALK_H
#define AGENT_WALK_H

#include <stdbool.h>
#include <stddef.h>

#include "base/status.h"
#include "pattern.h"
#include "settle.h"

#define WP_WALK_DEEPEST 32

enum wp_thing { WP_THING_FILE, WP_THING_FOLDER, WP_THING_ELSE };

/* What stands at the path. 0, or a libuv error (UV_ENOENT ...). */
int wp_look_at(const char *path, struct wp_look *look, enum wp_thing *thing);

struct wp_walk {
    const char *root;
    const struct wp_patterns *patterns;
    /* Called for each folder that is entered (the root is "") and each regular file that the
     * patterns take, with its path relative to the root. Return false to end the walk. */
    bool (*folder)(void *arg, const char *path, const struct wp_look *look);
    bool (*file)(void *arg, const char *path, const struct wp_look *look);
    void *arg;
    bool complete; /* after: no folder was unreadable, too deep or left out */
    size_t files;  /* after: regular files looked at */
};

/* WP_NOT_FOUND: the root is not there; WP_IO: it cannot be read. The error says why. */
enum wp_status wp_walk(struct wp_walk *walk, struct wp_error *error);

#endif
