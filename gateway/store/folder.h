/* folder.h - what the files of the folder store share. */
#ifndef STORE_FOLDER_H
#define STORE_FOLDER_H

#include <stdatomic.h>

#include "store/store.h"

/* "ab/abcdef...", and the length of the part before the name. */
#define FOLDER_NAME_ROOM (3 + WP_SHA256_HEX)
#define FOLDER_GROUP 2

struct folder_store {
    struct wp_store base;
    int incoming;
    int objects; /* kept open from the start, so that a sync reports every failure since then */
    atomic_bool broken;
    atomic_uint_fast64_t counter; /* makes names in incoming/ unique */
};

void folder_name(const unsigned char digest[WP_SHA256_SIZE], char name[FOLDER_NAME_ROOM]);

/* A status for errno. */
enum wp_status folder_fail(struct wp_error *error, const char *name);

/* True if the object is there with exactly these bytes. */
bool folder_same(const struct folder_store *store, const char *name, const void *data, size_t size);

/* The reading half of the table of functions. */
enum wp_status folder_get(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE],
                          struct wp_bytes *out, struct wp_error *error);
bool folder_has(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE]);
enum wp_status folder_check(struct wp_store *store, const unsigned char digest[WP_SHA256_SIZE]);
enum wp_status folder_walk(struct wp_store *store,
                           bool (*each)(void *arg, const unsigned char digest[WP_SHA256_SIZE]),
                           void *arg);

#endif
