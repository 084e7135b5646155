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

/* Same boot: the steady clock ties that moment to a heartbeat's, whatever the wall clock did. */
static enum wp_status by_steady_clock(struct wp_sql *sql, int64_t agent,
                                      const struct wp_intake *intake, int64_t *corrected)
{
    return wp_sql_int(
        sql, corrected,
        "SELECT ?1 + min(s.at_us - s.steady_us) FROM clock_sample s JOIN (SELECT at_us, steady_us "
        "FROM clock_sample WHERE agent_id = ?2 AND boot_id = ?3 AND boot_id <> '' "
        "ORDER BY abs(steady_us - ?1) LIMIT 1) nearest ON s.agent_id = ?2 AND s.boot_id = ?3 "
        "AND abs(s.steady_us - nearest.steady_us) <= ?4 "
        "AND abs(s.at_us - s.steady_us - nearest.at_us + nearest.steady_us) < ?5 "
        "HAVING count(*) > 0",
        "iitii", intake->steady_us, agent, intake->boot_id, (int64_t)TOGETHER, (int64_t)AGREE);
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
