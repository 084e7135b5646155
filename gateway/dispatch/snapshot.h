/* dispatch/snapshot.h - what the dispatcher reads before it decides. Private to dispatch. */
#ifndef DISPATCH_SNAPSHOT_H
#define DISPATCH_SNAPSHOT_H

#include "choose.h"
#include "delivery.h"
#include "ipp.h"
#include "mailing.h"

#define WP_SNAPSHOT_ROWS 256 /* deliveries looked at together; the oldest come first */

struct wp_printer_row {
    int64_t id;
    char name[64];
    char where[96];
    char place[WP_PLACE_ROOM];
    bool measured;
    double x_m;
    double y_m;
    char uri[512];
    char language[16];
    char certificate[WP_CERTIFICATE_ROOM];
    bool letter;
    int behind_most;
    enum wp_printer_mode mode;
};

struct wp_delivery_row {
    int64_t id;
    bool mail;
    int64_t measurement;
    int64_t person;
    int64_t instrument;
    bool large_print;
    enum wp_mailing mailing;
    int64_t wanted;
    int64_t printer;
    enum wp_delivery_state state;
    char reason[WP_CHOICE_TEXT];
    int job;
    bool in_doubt;
    int withdraw;
    int attempts;
    int64_t lease_owner;
    int64_t lease_until_us;
    int64_t changed_us;
    struct wp_instrument_place from; /* where its instrument stands */
};

struct wp_snapshot {
    struct wp_dispatch *dispatch; /* whose it is */
    unsigned serial;
    int64_t now;
    struct wp_printer_row printers[WP_PRINTERS_MOST];
    size_t printer_count;
    struct wp_delivery_row rows[WP_SNAPSHOT_ROWS];
    size_t count;
    int64_t next_due_us; /* of those not yet due; 0: none */
};

/* Fills `snapshot` (a wp_read_fn): all printers, the live deliveries, and those that are due. */
enum wp_status wp_snapshot_read(struct wp_sql *sql, void *snapshot);

#endif
