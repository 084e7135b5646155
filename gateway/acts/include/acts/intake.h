/* acts/intake.h - take a capture: from bytes in hand to a receipt.
 *
 * Three steps. `wp_intake_context` reads what the examination should expect. `wp_intake_prepare`
 * computes on a lane thread, touching neither database nor files but a staging file it is told of:
 * digest, compression, reading, bands, remarks, print. `wp_act_take_capture` is the write job: it
 * records capture, object, measurement, stamp and ledger entry in one transaction. The receipt may
 * be sent when the job's done says WP_OK.
 *
 * A repeat of agent and number with the same bytes gives the same receipt and changes nothing.
 */
#ifndef ACTS_INTAKE_H
#define ACTS_INTAKE_H

#include "base/accession.h"
#include "base/bytes.h"
#include "base/digest.h"
#include "people/access.h"
#include "spectrum/likeness.h"
#include "spectrum/read.h"
#include "spectrum/remarks.h"

/* What is known of one spectrum in the file before the database is asked. */
struct wp_intake_spectrum {
    struct wp_examination examination;
    struct wp_print print;
    bool has_print;
};

/* A measurement that a spectrum of a file has become, or was already. */
struct wp_intake_made {
    int64_t id;
    bool known;                        /* it was there before */
    char accession[WP_ACCESSION_ROOM]; /* staff upload only, else "" */
};

#define WP_INTAKE_PATH 1024
#define WP_INTAKE_SPECTRA 32 /* measurements made of one file at most; more are noted */

struct wp_intake {
    /* in: filled by the caller; texts and bytes are borrowed until the job is done */
    struct wp_proof proof; /* the agent's token; resolved inside the write job */
    int64_t number;        /* the agent's running number */
    char path[WP_INTAKE_PATH + 1];
    int64_t mtime_us;
    int64_t captured_us;
    int64_t steady_us;
    char boot_id[48];
    bool backfill;
    int64_t brought_by; /* staff upload: the person; the proof is then a session */
    int64_t instrument; /* staff upload: the instrument the file came from; else 0 */
    const void *data;   /* the bytes; NULL for an offer or when staged in a file */
    size_t size;
    const char *stage_path; /* synced staging file holding the bytes; NULL: in memory */
    bool has_expected;      /* the digest the sender named */
    unsigned char expected[WP_SHA256_SIZE];

    /* made by wp_intake_context */
    struct wp_context
        context;        /* of the turn that is open now: what the examination should expect */
    char solvent[64];   /* holds context.cleaning_solvent */
    char solvents[256]; /* holds context.solvents */

    /* made by wp_intake_prepare */
    unsigned char digest[WP_SHA256_SIZE];
    struct wp_bytes packed; /* zstd level 1; empty when staged in a file */
    struct wp_reading reading;
    struct wp_intake_spectrum *spectra;
    size_t spectrum_count;

    /* made by wp_act_take_capture */
    int64_t receipt; /* capture id */
    bool repeated;   /* this number had been taken before: answer 200 */
    bool known;      /* the bytes had been captured before under another number */
    bool removed;    /* the bytes were removed on purpose: nothing is made of them anew */
    bool adopt;      /* the object is new and lies in stage_path: it was adopted */
    size_t made_count;
    struct wp_intake_made made[WP_INTAKE_SPECTRA];
    struct wp_ledger_head head;
    struct wp_error error;
};

/* The read job (wp_read_fn) before prepare: fills `context` from the instrument and its open turn.
 * WP_DENIED: no such agent, so that nothing is computed for strangers. */
enum wp_status wp_intake_context(struct wp_sql *sql, void *intake);

/* WP_OK; WP_INVALID when the digest is not the expected one; WP_NO_MEMORY; WP_IO (staging file
 * cannot be read). A file that is no spectrum is WP_OK with reading.error set. Lane thread. */
enum wp_status wp_intake_prepare(struct wp_intake *intake);

/* The write job (wp_write_fn). WP_DENIED: no such agent. WP_CONFLICT: the number was used for other
 * bytes. WP_NOT_FOUND: an offer (no data) of bytes this agent never sent. Database errors. */
enum wp_status wp_act_take_capture(struct wp_txn *txn, void *intake);

/* Frees what prepare made. Harmless on a zeroed one. */
void wp_intake_release(struct wp_intake *intake);

#endif
