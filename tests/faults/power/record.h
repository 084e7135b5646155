/* record.h - everything that goes to the disk, in order, with the promises made in between.
 *
 * Database files are recorded by the disk of tests/faults/disk, objects by a store that passes
 * calls on to a real one. Thread: any; one order for all.
 */
#ifndef POWER_RECORD_H
#define POWER_RECORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "ledger/ledger.h"
#include "store/store.h"

enum step_kind {
    STEP_WRITE,
    STEP_TRUNCATE,
    STEP_SYNC,
    STEP_REMOVE,
    STEP_PUT, /* an object into the store */
    STEP_STORE_SYNC,
    STEP_RECEIPT /* somebody was told that a capture is safe */
};

enum { FILE_DATABASE, FILE_LOG, FILES };

struct step {
    enum step_kind kind;
    int file;
    int64_t at; /* offset, new size, or the receipt's number */
    size_t size;
    unsigned char *data;
    unsigned char digest[WP_SHA256_SIZE]; /* of an object; of a receipt, the ledger's hash */
    int64_t ledger_number;
};

/* Starts recording what goes to the database `name` in `folder`; once in a process. */
bool record_start(const char *folder, const char *name);
/* The name of that database. */
const char *record_name(void);
void record_stop(void);
void record_receipt(int64_t number, const struct wp_ledger_head *head);

/* A store that records; the caller frees the returned one with its ops. */
struct wp_store *record_store(struct wp_store *real);

/* The steps so far. Not while recording. */
const struct step *record_steps(size_t *count);
void record_free(void);

#endif
