/* readers.h - reading connections for threads that draw and export; kept and lent out again.
 *
 * Thread: any.
 */
#ifndef READERS_H
#define READERS_H

#include "db/db.h"

#define WP_READERS_KEPT 8

struct wp_readers;

/* NULL: out of memory. */
struct wp_readers *wp_readers_new(struct wp_db *db);
/* Lends a connection. Errors as wp_db_reader. */
enum wp_status wp_readers_take(struct wp_readers *readers, struct wp_sql **sql,
                               struct wp_error *error);
void wp_readers_give(struct wp_readers *readers, struct wp_sql *sql);
/* None may be lent any more. NULL is harmless. */
void wp_readers_free(struct wp_readers *readers);

#endif
