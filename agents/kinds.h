/* kinds.h - which files are spectra in an open format, by name, and whether a JCAMP-DX file is
 * complete. Pure; any thread.
 */
#ifndef AGENT_KINDS_H
#define AGENT_KINDS_H

#include <stdbool.h>
#include <stddef.h>

enum wp_kind {
    WP_KIND_TEXT,   /* delimited text */
    WP_KIND_JCAMP,  /* JCAMP-DX */
    WP_KIND_OTHER,  /* a type that is not taken: the bench hears of it */
    WP_KIND_IGNORED /* a program's passing file: hidden, temporary, half downloaded, lock */
};

/* By the last part of a path. Case of the extension does not matter. */
enum wp_kind wp_kind_of(const char *name);

/* True if every JCAMP-DX block that begins (##TITLE=) has ended (##END=) and nothing but blank
 * lines follows. (McDonald and Wilks, Appl. Spectrosc. 42 (1988) 151, 5.1.1 and 5.1.4: TITLE is
 * a block's first label and END its last.) */
bool wp_jcamp_complete(const char *text, size_t size);

#endif
