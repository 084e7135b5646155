/* store/store.h - where objects lie: raw files named by their SHA-256.
 *
 * A small table of functions, so that another kind of store fits later. The folder store keeps
 * objects/ab/abcdef... below the data folder: read-only files whose name is their digest, so that
 * sha256sum agrees. Files are written in incoming/ beside it and renamed. A crash before the sync
 * can leave a file with a right name and wrong bytes; therefore `put` never trusts a file that is
 * there already but compares it, and whoever put an object keeps its own copy until the sync.
 *
 * Thread: any thread may call put, adopt, get, remove, has, check and walk; one thread at a time
 * calls sync.
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
    /* Writes the bytes under their digest, which the caller has verified. Success if they are there
     * already. Durable only after the next sync. WP_FULL, WP_IO, WP_NO_MEMORY. */
    enum wp_status (*put)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          const void *data, size_t size, struct wp_error *error);
    /* Takes over a synced file (in incoming/) by renaming it, over one that is there already. It is
     * durable under its new name when this returns WP_OK. WP_NOT_FOUND, WP_IO, WP_FULL; WP_BROKEN:
     * a sync failed, final. */
    enum wp_status (*adopt)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                            const char *path, struct wp_error *error);
    /* Everything put before the call is on disk when this returns WP_OK. WP_BROKEN is final: every
     * later sync says so too, for what a failed sync lost is not known. */
    enum wp_status (*sync)(struct wp_store *store, struct wp_error *error);
    /* Appends the object's bytes to `out` (bounded by its limit). WP_NOT_FOUND, WP_TOO_LARGE,
     * WP_IO, WP_NO_MEMORY. The bytes are not re-hashed. */
    enum wp_status (*get)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          struct wp_bytes *out, struct wp_error *error);
    /* Takes the object's file away, durably. WP_OK also when there was none. WP_IO. */
    enum wp_status (*remove)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                             struct wp_error *error);
    bool (*has)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE]);
    /* Re-hashes one object: WP_OK, WP_NOT_FOUND, WP_INVALID (bytes differ from the name), WP_IO
     * (cannot be read), WP_NO_MEMORY. */
    enum wp_status (*check)(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE]);
    /* Calls `each` for every object present, in no order; stops when it returns false. WP_IO,
     * WP_NO_MEMORY. Files whose name is no digest are passed over. */
    enum wp_status (*walk)(struct wp_store *store,
                           bool (*each)(void *arg, const unsigned char digest[WP_SHA256_SIZE]),
                           void *arg);
    void (*free)(struct wp_store *store);
};

struct wp_store {
    const struct wp_store_ops *ops;
};

/* A folder store below the data folder `folder`: objects/ and incoming/ are made if missing, and
 * leftovers of a crash in incoming/ are removed. Other rooms may write files of their own there, to
 * be adopted. The caller frees the store with store->ops->free. WP_IO, WP_NO_MEMORY. */
enum wp_status wp_store_open_folder(const char *folder, struct wp_store **store,
                                    struct wp_error *error);

/* The same beside a gateway at work, for reading: what lies in incoming/ is left alone. */
enum wp_status wp_store_look_at(const char *folder, struct wp_store **store,
                                struct wp_error *error);

#endif
