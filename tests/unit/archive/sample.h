/* sample.h - a small archive for tests: one instrument, one agent, and captures of invented bytes,
 * each with a measurement, a rendition and a stamp. */
#ifndef TEST_SAMPLE_H
#define TEST_SAMPLE_H

#include "archive/object.h"
#include "base/digest.h"
#include "db/db.h"
#include "ledger/ledger.h"
#include "store/store.h"

#define SAMPLE_AGENT 5

struct sample {
    char folder[32];
    struct wp_db *db;
    struct wp_store *store;
    uv_loop_t loop;
    bool started;
};

/* Makes the folder, opens database and store there. False if it does not work. */
bool sample_open(struct sample *sample);
/* Opens them again in the folder that is there. */
bool sample_reopen(struct sample *sample);
void sample_start(struct sample *sample);
/* Closes database and store; the folder stays. */
void sample_close(struct sample *sample);
void sample_remove(struct sample *sample);

/* The bytes of object `number`: `size` of them, no two objects alike. The caller frees. */
char *sample_bytes(int number, size_t size, unsigned char digest[WP_SHA256_SIZE]);

/* Writes the instrument and the agent. A write job without input. */
enum wp_status sample_set_up(struct wp_txn *txn, void *job);

/* One capture, number and size of the object as given. A write job; afterwards `head` is what the
 * receipt would say. */
struct sample_capture {
    int number;
    size_t size;
    struct wp_ledger_head head;
};
enum wp_status sample_take(struct wp_txn *txn, void *capture);

/* Rows of table `staged`. */
int64_t sample_staged(struct sample *sample);

#endif
