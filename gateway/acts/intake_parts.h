/* intake_parts.h - what the files of the intake share. Private to acts. */
#ifndef ACTS_INTAKE_PARTS_H
#define ACTS_INTAKE_PARTS_H

#include "acts/intake.h"
#include "archive/record.h"
#include "base/clock.h"
#include "people/stamping.h"
#include "spectrum/likeness.h"

/* Who sends, and for which instrument. WP_DENIED. */
enum wp_status wp_intake_who(struct wp_sql *sql, int64_t now, struct wp_intake *intake,
                             struct wp_who *who, int64_t *instrument);

/* When a file was exported, on the gateway's clock. */
struct wp_export_time {
    int64_t captured_us; /* corrected time of the capture */
    int64_t export_us;   /* best guess of the export: the file's own change, if it fits */
    int64_t offset_us;   /* what was added to the PC's clock */
    bool corrected;      /* by more than two seconds */
    bool unknown;        /* nothing ties the PC's clock of that time to ours */
    bool late;           /* not seen when it happened: only a time in the file says when it was */
};
enum wp_status wp_export_time(struct wp_sql *sql, int64_t now, int64_t agent,
                              const struct wp_intake *intake, struct wp_export_time *time);

/* The person that the file names by the instrument's pattern, if exactly one person on a roster has
 * that sign-in name or number; 0 otherwise. */
enum wp_status wp_identity_find(struct wp_sql *sql, int64_t instrument, const char *path,
                                const struct wp_spectrum *spectrum, int64_t *person);

/* Everything the recording of one file's spectra needs. */
struct wp_taking {
    struct wp_intake *intake;
    struct wp_who who;
    int64_t instrument;
    int64_t capture;
    struct wp_export_time time;
};

struct wp_known {
    int64_t measurement; /* 0: none */
    int64_t turn;
    int64_t instrument;
};

/* The measurements that a new spectrum is alike to: carrying the same noise. */
struct wp_alike {
    struct wp_known merge; /* of the same turn: the spectrum becomes a rendition of it */
    struct wp_known other; /* of another: staff hear of it */
};

/* Compares with the newest 50 renditions of the instrument. On the writer's thread. */
enum wp_status wp_alike_find(struct wp_txn *txn, int64_t instrument, const struct wp_print *print,
                             const struct wp_ruling *ruling, struct wp_alike *alike);

/* Records the spectra of a capture: new measurements, renditions of known ones, notices. */
enum wp_status wp_take_spectra(struct wp_txn *txn, struct wp_taking *taking);

#endif
