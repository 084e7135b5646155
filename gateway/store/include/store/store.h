/* store/store.h - where objects lie: raw files named by their SHA-256.
 *
 * A small table of functions, so that another kind of store fits later; the folder store keeps
 * objects/ab/cdef... below the data folder, read-only files whose name is their digest (sha256sum
 * agrees). Putting an object that is there already is success.
 *
 * Thread: any thread may call put, get and has; one thread at a time calls sync.
 */
#ifndef STORE_STORE_H
#define STORE_STORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/bytes.h"
#include "base/digest.h"

struct wp_store;

struct wp_store_ops {
    /* Writes the bytes under their digest. Durable only after the next sync. */
    enum wp_status (*put)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          const void *data, size_t size, struct wp_error *error);
    /* Takes over a synced file (a staging file) by renaming it. */
    enum wp_status (*adopt)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                            const char *path, struct wp_error *error);
    /* Everything put so far is on disk when this returns WP_OK. WP_BROKEN is final. */
    enum wp_status (*sync)(struct wp_store *store, struct wp_error *error);
    /* Appends the object's bytes to `out` (bounded by its limit). WP_NOT_FOUND. */
    enum wp_status (*get)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          struct wp_bytes *out, struct wp_error *error);
    bool (*has)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE]);
    /* Re-hashes one object: WP_OK, WP_NOT_FOUND, WP_INVALID (bytes differ from the name). */
    enum wp_status (*check)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE]);
    /* Calls `each` for every object present; stops when it returns false. */
    enum wp_status (*walk)(struct wp_store *store,
                           bool (*each)(void *arg, const unsigned char digest[WP_SHA256_SIZE]),
                           void *arg);
    void (*free)(struct wp_store *store);
};

struct wp_store {
    const struct wp_store_ops *ops;
};

/* A folder store below `folder` (made if missing; leftovers of a crash in its incoming/ folder are
 * removed). The caller frees it with store->ops->free. */
enum wp_status wp_store_open_folder(const char *folder, struct wp_store **store,
                                    struct wp_error *error);

#endif
