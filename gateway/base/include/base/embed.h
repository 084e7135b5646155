/* base/embed.h - files that were put into the program when it was built.
 *
 * The build's wp_embed(TARGET PREFIX FILES...) makes a table named PREFIX_files with PREFIX_count
 * entries, in the order of their names; WP_EMBEDDED(PREFIX) declares both. The data are constant,
 * live as long as the program, and are followed by a zero byte that `size` does not count.
 *
 * Thread: any.
 */
#ifndef BASE_EMBED_H
#define BASE_EMBED_H

#include <stddef.h>

struct wp_embedded {
    const char *name; /* the path below the folder the build named, with '/' */
    const char *data;
    size_t size;
};

#define WP_EMBEDDED(prefix)                                                                        \
    extern const struct wp_embedded prefix##_files[];                                              \
    extern const size_t prefix##_count

#endif
