/* zip.h - a ZIP written while it is made (libarchive): members are stored, not compressed, for what
 * goes in is compressed already or small. Names are UTF-8.
 *
 * Thread: one at a time; blocks as its `write` does.
 */
#ifndef ZIP_H
#define ZIP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/status.h"

struct wp_zip;
typedef enum wp_status (*wp_zip_write)(void *arg, const void *data, size_t size);

/* WP_NO_MEMORY. After a failed write every later call fails with what it returned. */
enum wp_status wp_zip_begin(wp_zip_write write, void *arg, struct wp_zip **zip);
/* Adds one file. `name` uses '/' for folders; see wp_zip_name. */
enum wp_status wp_zip_add(struct wp_zip *zip, const char *name, const void *data, size_t size,
                          int64_t time_us);
/* Writes the end and frees. NULL is harmless. */
enum wp_status wp_zip_end(struct wp_zip *zip);

/* Makes one part of a name out of any text: separators and control characters become '_', so that
 * nothing is unpacked outside its folder. Never empty. */
void wp_zip_name(const char *text, char *out, size_t room);

/* Appends one field to a line of CSV (RFC 4180), quoted; text that a spreadsheet would take for a
 * formula gets an apostrophe before it. */
struct wp_bytes;
enum wp_status wp_csv_add(struct wp_bytes *line, const char *text, bool first);

#endif
