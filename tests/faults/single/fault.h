/* fault.h - fails one call, the n-th, of the disk below SQLite, of the object store, or of SQLite's
 * memory.
 *
 * fault_install once, before SQLite is used. The count is shared with child processes, so that the
 * parent learns whether a child met its fault. Threads: calls that are counted may come on any.
 */
#ifndef SINGLE_FAULT_H
#define SINGLE_FAULT_H

#include <stdbool.h>

#include "store/store.h"

enum fault_kind { FAULT_NONE, FAULT_DISK, FAULT_STORE, FAULT_MEMORY };

/* False if there is no memory for the count or SQLite takes no hooks. */
bool fault_install(void);

/* From now on the n-th call of that kind fails, n from 1; FAULT_NONE: none. */
void fault_arm(enum fault_kind kind, long n);

/* Whether it came to the n-th call since fault_arm. */
bool fault_met(void);

/* `inner` with its put and sync counted; it lives until the process ends. */
struct wp_store *fault_store(struct wp_store *inner);

#endif
