#include <string.h>

#include "intake_parts.h"

/* An export captured later than this after the file's last change was not seen when it happened. */
#define SEEN_LATE (60 * WP_SECOND)
/* Offsets below this are not worth a mention on the sheet. */
#define WORTH_A_MENTION (2 * WP_SECOND)
/* No export is older than the formats' first year on a PC whose clock is right. */
#define PLAUSIBLE_FROM (INT64_C(1262304000) * WP_SECOND) /* 2010-01-01 */

/* Heartbeats this close in time are taken together, as long as they agree within a second: of those
 * the one that was quickest on its way ties the clocks best, for delays only add. */
#define TOGETHER WP_HOUR
#define AGREE WP_SECOND

/* The heartbeat of this boot that is nearest by the steady clock. */
static enum wp_status nearest(struct wp_sql *sql, int64_t agent, const struct wp_intake *intake,
                              int64_t *at, int64_t *steady)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT at_us, steady_us FROM clock_sample WHERE agent_id = ? AND "
                     "boot_id = ? AND boot_id <> '' ORDER BY abs(steady_us - ?) LIMIT 1",
                     "iti", agent, intake->boot_id, intake->steady_us);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        *at = wp_rows_int(&rows, 0);
        *steady = wp_rows_int(&rows, 1);
    }
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

/* Same boot: the steady clock ties that moment to a heartbeat's, whatever the wall clock did. */
static enum wp_status by_steady_clock(struct wp_sql *sql, int64_t agent,
                                      const struct wp_intake *intake, int64_t *corrected)
{
    int64_t at = 0, steady = 0;
    enum wp_status status = nearest(sql, agent, intake, &at, &steady);
    if (status)
        return status;
    return wp_sql_int(sql, corrected,
                      "SELECT ? + min(at_us - steady_us) FROM clock_sample WHERE agent_id = ? AND "
                      "boot_id = ? AND abs(steady_us - ?) <= ? AND "
                      "abs(at_us - steady_us - ?) < ? HAVING count(*) > 0",
                      "iitiiii", intake->steady_us, agent, intake->boot_id, steady,
                      (int64_t)TOGETHER, at - steady, (int64_t)AGREE);
}

/* Another boot: the offset that was measured next to that time, before or after. */
static enum wp_status by_offset(struct wp_sql *sql, int64_t agent, int64_t captured,
                                int64_t *offset)
{
    return wp_sql_int(sql, offset,
                      "SELECT offset_us FROM clock_sample WHERE agent_id = ? "
                      "ORDER BY abs(at_us - offset_us - ?) LIMIT 1",
                      "ii", agent, captured);
}

static enum wp_status correct(struct wp_sql *sql, int64_t now, int64_t agent,
                              const struct wp_intake *intake, struct wp_export_time *time)
{
    int64_t corrected = 0, offset = 0;
    enum wp_status status = by_steady_clock(sql, agent, intake, &corrected);
    if (status == WP_OK) {
        time->captured_us = corrected;
        time->offset_us = corrected - intake->captured_us;
        return WP_OK;
    }
    if (status != WP_NOT_FOUND)
        return status;
    status = by_offset(sql, agent, intake->captured_us, &offset);
    if (status && status != WP_NOT_FOUND)
        return status;
    time->offset_us = offset;
    time->captured_us = intake->captured_us + offset;
    time->unknown = time->captured_us < PLAUSIBLE_FROM || time->captured_us > now + WP_MINUTE;
    return WP_OK;
}

/* What counts is how far the clock was off when the file was written, not when it was found. */
static enum wp_status seen_late(struct wp_sql *sql, int64_t agent, const struct wp_intake *intake,
                                struct wp_export_time *time)
{
    time->late = true;
    enum wp_status status = by_offset(sql, agent, intake->mtime_us, &time->offset_us);
    if (status != WP_NOT_FOUND)
        return status;
    time->unknown = true;
    return WP_OK;
}

enum wp_status wp_export_time(struct wp_sql *sql, int64_t now, int64_t agent,
                              const struct wp_intake *intake, struct wp_export_time *time)
{
    memset(time, 0, sizeof *time);
    if (intake->brought_by) {
        /* A file from a stick: its change time is all there is, by a clock nobody knows. */
        time->captured_us = now;
        time->export_us = intake->mtime_us > PLAUSIBLE_FROM ? intake->mtime_us : now;
        time->late = true;
        return WP_OK;
    }
    enum wp_status status = correct(sql, now, agent, intake, time);
    int64_t age = intake->captured_us - intake->mtime_us;
    if (!status && age > SEEN_LATE && !time->unknown)
        status = seen_late(sql, agent, intake, time);
    if (status)
        return status;
    if (time->late || (age >= 0 && age <= SEEN_LATE))
        time->export_us = intake->mtime_us + time->offset_us;
    else
        time->export_us = time->captured_us;
    time->corrected = time->offset_us > WORTH_A_MENTION || time->offset_us < -WORTH_A_MENTION;
    return WP_OK;
}
