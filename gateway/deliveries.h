/* deliveries.h - what the dispatcher asks of the other rooms: sheets, mails' words, states over
 * time, live events.
 *
 * Thread: wp_deliveries_render on lane threads, the others inside write jobs.
 */
#ifndef DELIVERIES_H
#define DELIVERIES_H

#include "dispatch/dispatch.h"
#include "sheet/sheet.h"

struct wp_deliveries {
    struct wp_db *db;
    struct wp_sheet_fonts *fonts;
};

/* wp_dispatch_options.render; `deliveries` is a struct wp_deliveries. */
enum wp_status wp_deliveries_render(void *deliveries, const struct wp_sheet_wanted *wanted,
                                    struct wp_bytes *pdf, struct wp_post_sheet *mail,
                                    struct wp_error *error);

/* wp_delivery_hook: tells the bench, the person and the fleet page. */
enum wp_status wp_deliveries_tell(struct wp_txn *txn, const struct wp_delivery_change *change);

/* wp_dispatch_options.printer_state: the state's span ends and the next begins. */
enum wp_status wp_deliveries_printer(struct wp_txn *txn, int64_t printer, const char *state);

#endif
