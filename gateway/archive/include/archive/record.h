/* archive/record.h - what the archive writes down: captures, objects, measurements, renditions,
 * stamps, notices. All inside write jobs, unless a `struct wp_sql *` says it only reads.
 *
 * Nothing here is ever changed but by adding: a stamp is a new revision, a rendition is added, a
 * measurement's `kept` moves on. Texts are copied into the database.
 */
#ifndef ARCHIVE_RECORD_H
#define ARCHIVE_RECORD_H

#include "base/accession.h"
#include "base/digest.h"
#include "base/secret.h"
#include "people/ask.h"
#include "people/turns.h"
#include "spectrum/likeness.h"

/* ---- captures and objects ---- */

struct wp_capture {
    int64_t id; /* made by wp_capture_add */
    int64_t agent;
    int64_t number;
    int64_t instrument;
    unsigned char digest[WP_SHA256_SIZE];
    const char *path;
    int64_t mtime_us;
    int64_t captured_us;
    int64_t steady_us;
    const char *boot_id;
    int64_t corrected_us; /* captured_us on the gateway's clock */
    bool backfill;
    int64_t brought_by; /* person who uploaded by hand, 0: an agent */
    bool known;
};

/* Records a capture and its ledger entry; `*head` is what the receipt says. The object must be
 * there. WP_CONSTRAINT: the number is taken. */
enum wp_status wp_capture_add(struct wp_txn *txn, struct wp_capture *capture, enum wp_actor actor,
                              int64_t actor_id, struct wp_ledger_head *head);

/* An earlier capture of this number: its id, digest and ledger head. WP_NOT_FOUND. */
enum wp_status wp_capture_find(struct wp_sql *sql, int64_t agent, int64_t number, int64_t *id,
                               unsigned char digest[WP_SHA256_SIZE], struct wp_ledger_head *head);

/* Records an object that is new: staged or already stored; `error` (may be NULL) is why it cannot
 * be read as a spectrum. */
enum wp_status wp_object_add(struct wp_txn *txn, const unsigned char digest[WP_SHA256_SIZE],
                             size_t size, bool stored, const char *format,
                             const struct wp_error *error);

/* ---- measurements ---- */

struct wp_measurement {
    int64_t id;         /* made by wp_measurement_add */
    uint64_t accession; /* made by wp_measurement_add */
    int64_t instrument;
    int64_t turn; /* 0: none */
    int64_t capture;
    const char *title;
    const char *technique;
    int64_t measured_us;
    const char *time_source; /* "file" or "export" */
    bool clock_corrected;
    const char *verdict;
    const char *examination; /* JSON */
    bool asked;              /* the bench is asked whose it is */
    const char *suggestion;  /* JSON array of person ids, NULL: none */
};

/* Takes the next usable accession number and records the measurement, still unclaimed and open. */
enum wp_status wp_measurement_add(struct wp_txn *txn, struct wp_measurement *measurement);

struct wp_rendition {
    int64_t measurement;
    int64_t instrument; /* the measurement's */
    int64_t capture;
    unsigned char digest[WP_SHA256_SIZE];
    int64_t block;
    const char *format;
    int64_t points;
    const struct wp_print *print; /* NULL: none */
};
enum wp_status wp_rendition_add(struct wp_txn *txn, const struct wp_rendition *rendition);

/* `kept` is "kept", "again" or "auto". Only an open or automatically kept one moves; WP_CONFLICT
 * otherwise unless it already is what is asked for. */
enum wp_status wp_measurement_keep(struct wp_txn *txn, int64_t measurement, const char *kept);

/* Ties a measurement to the turn that the bench or staff say it belongs to; 0: to none. */
enum wp_status wp_measurement_set_turn(struct wp_txn *txn, int64_t measurement, int64_t turn);

/* This one counts for the report: the others of the same turn or the same person, experiment and
 * sample no longer do. */
enum wp_status wp_measurement_counts(struct wp_txn *txn, int64_t measurement);

/* What counts while nobody has said so: the newest, unless it should be run again and there is one
 * that need not. */
enum wp_status wp_measurement_counts_by_default(struct wp_txn *txn, int64_t measurement);

/* Where this one counts, the newest other of its siblings does from now on, if there is one: before
 * it is removed. */
enum wp_status wp_measurement_counts_instead(struct wp_txn *txn, int64_t measurement);

/* ---- stamps ---- */

struct wp_stamp {
    int64_t measurement;
    int64_t persons[WP_TURN_PERSONS];
    size_t person_count;
    int64_t section;    /* 0: none */
    int64_t experiment; /* 0: none */
    char sample[128];
    char kind[24];
    char preparation[24];
    char plates[16];
    char guest[64];
    char rule[32]; /* "turn", "identity", "nobody", "bench", "claim", "staff", "turn entered later"
                    */
    char reason[200];
    enum wp_actor author;
    int64_t author_id;
};

/* Appends a revision and makes it the current one: persons' lists, section, experiment, unclaimed.
 * Writes a ledger entry. A stamp with a guest but no person is not unclaimed. */
enum wp_status wp_stamp_add(struct wp_txn *txn, const struct wp_stamp *stamp);

/* The newest revision. WP_NOT_FOUND: no such measurement. */
enum wp_status wp_stamp_read(struct wp_sql *sql, int64_t measurement, struct wp_stamp *stamp);

/* What a turn says, as a stamp by `rule`. */
void wp_stamp_from_turn(const struct wp_turn *turn, const char *rule, struct wp_stamp *stamp);

/* ---- claim codes ---- */

/* The code printed on an unclaimed sheet. Computed from the site's secret, so that only its hash
 * stands beside the measurement. */
enum wp_status wp_claim_code(struct wp_sql *sql, int64_t measurement, char code[WP_CODE_ROOM]);

/* ---- notices ---- */

struct wp_notice {
    const char *kind; /* "same-data", "saved-again", "unread", "instrument" */
    int64_t instrument;
    int64_t measurement, other, capture, turn; /* 0: none */
    const char *text;
    const char *code; /* "instrument": the remark; NULL else */
    int64_t from_us;  /* "instrument": since when */
};
enum wp_status wp_notice_add(struct wp_txn *txn, const struct wp_notice *notice);
enum wp_status wp_notice_settle(struct wp_txn *txn, int64_t id, int64_t person);

#endif
