#include "tell.h"

#include <inttypes.h>

#include "db/event.h"

#define FORM "{\"kind\":\"%s\",\"measurement\":%" PRId64 "}"

static enum wp_status tell_section(struct wp_txn *txn, const char *kind, int64_t measurement)
{
    int64_t section = 0;
    enum wp_status status = wp_sql_int(
        txn->sql, &section, "SELECT coalesce(section_id, 0) FROM measurement WHERE id = ?", "i",
        measurement);
    return status || !section ? status
                              : wp_event_addf(txn, "section", section, FORM, kind, measurement);
}

static enum wp_status tell_persons(struct wp_txn *txn, const char *kind, int64_t measurement)
{
    int64_t persons[WP_TURN_PERSONS];
    size_t count = 0;
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows, "SELECT person_id FROM owned WHERE measurement_id = ?", "i", measurement);
    if (status)
        return status;
    while (count < WP_TURN_PERSONS && wp_rows_next(&rows))
        persons[count++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    for (size_t i = 0; !status && i < count; i++)
        status = wp_event_addf(txn, "person", persons[i], FORM, kind, measurement);
    return status;
}

enum wp_status wp_tell_measurement(struct wp_txn *txn, int64_t instrument, const char *kind,
                                   int64_t measurement)
{
    enum wp_status status = wp_event_addf(txn, "instrument", instrument, FORM, kind, measurement);
    if (!status)
        status = tell_section(txn, kind, measurement);
    return status ? status : tell_persons(txn, kind, measurement);
}
