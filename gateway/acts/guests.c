#include "guests.h"

#include <inttypes.h>
#include <stdio.h>

#include "removal_parts.h"

#define AT_ONCE 8
#define LABELLED "guest <> '' AND guest <> 'Name removed'"

static enum wp_status remove_one(struct wp_txn *txn, int64_t measurement)
{
    struct wp_removal removal = {.kind = "measurement",
                                 .actor = WP_ACTOR_SYSTEM,
                                 .reason = "A visitor's spectrum, kept for 30 days."};
    (void)snprintf(removal.subject, sizeof removal.subject, "%" PRId64, measurement);
    enum wp_status status = wp_removal_add(txn, &removal);
    return status ? status : removal_measurement(txn, measurement, removal.id);
}

/* The label alone, where the spectrum is somebody's or there was none. */
static enum wp_status forget_labels(struct wp_txn *txn, int64_t limit, int64_t *forgotten)
{
    enum wp_status status = wp_sql_run(
        txn->sql, "UPDATE turn SET guest = '' WHERE opened_us < ? AND " LABELLED, "i", limit);
    *forgotten = wp_sql_changes(txn->sql);
    if (status)
        return status;
    status = wp_sql_run(txn->sql,
                        "UPDATE stamp SET guest = '' WHERE at_us < ? AND " LABELLED
                        " AND EXISTS (SELECT 1 FROM owned o WHERE o.measurement_id = "
                        "stamp.measurement_id)",
                        "i", limit);
    *forgotten += wp_sql_changes(txn->sql);
    return status;
}

enum wp_status wp_guests_leave(struct wp_txn *txn)
{
    int64_t ids[AT_ONCE], limit = txn->now - WP_GUEST_LIFE, forgotten = 0;
    size_t count = 0;
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows,
                     "SELECT m.id FROM stamp s JOIN measurement m ON m.stamp_id = s.id JOIN "
                     "capture c ON c.id = m.capture_id WHERE s.guest <> '' AND s.guest <> 'Name "
                     "removed' AND s.at_us < ?1 AND c.received_us < ?1 AND NOT EXISTS (SELECT 1 "
                     "FROM owned o WHERE o.measurement_id = m.id) LIMIT 8",
                     "i", limit);
    if (status)
        return status;
    while (count < AT_ONCE && wp_rows_next(&rows))
        ids[count++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    for (size_t i = 0; !status && i < count; i++)
        status = remove_one(txn, ids[i]);
    if (!status)
        status = forget_labels(txn, limit, &forgotten);
    return status || (!count && !forgotten) ? status : removal_want_scrub(txn);
}
