#include <inttypes.h>
#include <string.h>

#include "base/clock.h"
#include "rows.h"
#include "views/lists.h"

/* Silent after three heartbeats of 30 s that did not come. */
#define SILENT_AFTER (90 * WP_SECOND)

struct day {
    int64_t from;
    int64_t to;
};

static struct day today(int64_t now)
{
    int day = wp_clock_local_day(now);
    return (struct day){wp_clock_from_local(day / 10000, day / 100 % 100, day % 100, 0), now};
}

static int64_t overlap(struct day day, int64_t from, int64_t to)
{
    int64_t begin = from > day.from ? from : day.from;
    int64_t end = to < day.to ? to : day.to;
    return end > begin ? end - begin : 0;
}

#define SPANS_MOST 512
struct spans {
    struct day list[SPANS_MOST];
    size_t count;
};

static enum wp_status read_spans(struct wp_sql *sql, const char *subject, int64_t id,
                                 struct day day, struct spans *spans)
{
    struct wp_rows rows;
    spans->count = 0;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT from_us, coalesce(to_us, ?1) FROM span WHERE subject = ?2 AND subject_id = ?3 AND "
        "from_us < ?1 AND coalesce(to_us, ?1) > ?4 ORDER BY from_us LIMIT 512",
        "itii", day.to, subject, id, day.from);
    if (status)
        return status;
    while (spans->count < SPANS_MOST && wp_rows_next(&rows))
        spans->list[spans->count++] = (struct day){wp_rows_int(&rows, 0), wp_rows_int(&rows, 1)};
    return wp_rows_end(&rows);
}

/* Time when the gateway itself was up: only then can it know of an agent. */
static int64_t time_in(const struct spans *spans, struct day day)
{
    int64_t sum = 0;
    for (size_t i = 0; i < spans->count; i++)
        sum += overlap(day, spans->list[i].from, spans->list[i].to);
    return sum;
}

/* Gaps between the agent's spans, as far as the gateway was there to see them. */
static int64_t add_faults(const struct spans *agent, const struct spans *gateway, struct day seen,
                          cJSON *faults)
{
    int64_t down = 0, at = seen.from;
    for (size_t i = 0; i <= agent->count; i++) {
        int64_t until = i < agent->count ? agent->list[i].from : seen.to;
        struct day gap = {at, until};
        int64_t known = until > at ? time_in(gateway, gap) : 0;
        if (known > SILENT_AFTER) {
            cJSON *fault = cJSON_CreateObject();
            cJSON_AddNumberToObject(fault, "from_us", (double)gap.from);
            cJSON_AddNumberToObject(fault, "to_us", (double)gap.to);
            cJSON_AddStringToObject(fault, "text", "The instrument's PC was not heard.");
            cJSON_AddItemToArray(faults, fault);
            down += known;
        }
        if (i < agent->count && agent->list[i].to > at)
            at = agent->list[i].to;
    }
    return down;
}

/* Faults that are shown of the last weeks; their number counts all of them. */
enum { RECORD_DAYS = 28, RECORD_FAULTS = 20 };

/* Hours lost and faults of the last weeks, and between them the mean time from fault to fault: time
 * up by the number of faults (common practice, no source). Null where there is too much to read. */
static enum wp_status add_record(struct wp_sql *sql, int64_t agent, int64_t joined, int64_t now,
                                 cJSON *object)
{
    static _Thread_local struct spans gateway, spans;
    struct day weeks = {now - RECORD_DAYS * WP_DAY, now};
    if (joined > weeks.from)
        weeks.from = joined;
    enum wp_status status = read_spans(sql, "gateway", 0, weeks, &gateway);
    if (!status)
        status = read_spans(sql, "agent", agent, weeks, &spans);
    if (status || gateway.count == SPANS_MOST || spans.count == SPANS_MOST) {
        cJSON_AddNullToObject(object, "record");
        return status;
    }
    cJSON *record = cJSON_AddObjectToObject(object, "record");
    cJSON *faults = cJSON_AddArrayToObject(record, "faults");
    int64_t down = add_faults(&spans, &gateway, weeks, faults);
    int count = cJSON_GetArraySize(faults);
    int64_t up = time_in(&gateway, weeks) - down;
    for (int i = count; i > RECORD_FAULTS; i--)
        cJSON_DeleteItemFromArray(faults, 0);
    cJSON_AddNumberToObject(record, "days", RECORD_DAYS);
    cJSON_AddNumberToObject(record, "count", count);
    cJSON_AddNumberToObject(record, "hours_lost", (double)down / (double)WP_HOUR);
    if (count > 0)
        cJSON_AddNumberToObject(record, "mtbf_hours", (double)up / (double)WP_HOUR / count);
    else
        cJSON_AddNullToObject(record, "mtbf_hours");
    return WP_OK;
}

/* The day counts from when the agent joined. */
static enum wp_status add_today(struct wp_sql *sql, int64_t agent, int64_t joined, int64_t now,
                                cJSON *object)
{
    struct day day = today(now);
    static _Thread_local struct spans gateway, spans;
    if (joined > day.from)
        day.from = joined;
    cJSON *faults = cJSON_AddArrayToObject(object, "faults");
    cJSON *share = cJSON_AddObjectToObject(object, "today");
    enum wp_status status = read_spans(sql, "gateway", 0, day, &gateway);
    /* The gateway that answers this is up now; its span is only written from time to time. */
    if (gateway.count && gateway.list[gateway.count - 1].to > now - SILENT_AFTER)
        gateway.list[gateway.count - 1].to = now;
    if (!status)
        status = read_spans(sql, "agent", agent, day, &spans);
    double whole = (double)(day.to - day.from);
    if (status || whole <= 0)
        return status;
    int64_t known = time_in(&gateway, day);
    int64_t down = add_faults(&spans, &gateway, day, faults);
    cJSON_AddNumberToObject(share, "up", (double)(known - down) / whole);
    cJSON_AddNumberToObject(share, "down", (double)down / whole);
    cJSON_AddNumberToObject(share, "unknown", 1 - (double)known / whole);
    cJSON_AddNumberToObject(share, "hours_lost", (double)down / (double)WP_HOUR);
    return WP_OK;
}

static double number(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return cJSON_IsNumber(item) ? item->valuedouble : 0;
}

static enum wp_status add_agents(struct wp_sql *sql, cJSON *instrument, int64_t now)
{
    enum wp_status status = wp_add_rows(
        sql, instrument, "agents",
        "SELECT id, seen_us, joined_us, version, platform, queue_count, queue_bytes, "
        "queue_oldest_us, disk_free, offset_us, spool_stopped AS \"spool_stopped?\", refused, "
        "folders AS \"folders{}\", ledger_ok AS \"ledger_ok?\", "
        "CASE WHEN seen_us > ?2 THEN 'up' ELSE 'silent' END AS state FROM agent "
        "WHERE instrument_id = ?1 AND revoked_us IS NULL ORDER BY seen_us DESC LIMIT 8",
        "ii", (int64_t)number(instrument, "id"), now - SILENT_AFTER);
    const cJSON *agents = cJSON_GetObjectItemCaseSensitive(instrument, "agents");
    const cJSON *first = cJSON_GetArrayItem(agents, 0);
    const char *state = "no agent";
    if (cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(instrument, "paused")))
        state = "paused";
    else if (first)
        state = number(first, "seen_us") > (double)(now - SILENT_AFTER) ? "ready" : "silent";
    cJSON_AddStringToObject(instrument, "state", state);
    if (status || !first) {
        cJSON_AddNullToObject(instrument, "today");
        cJSON_AddNullToObject(instrument, "record");
        cJSON_AddArrayToObject(instrument, "faults");
        return status;
    }
    int64_t id = (int64_t)number(first, "id");
    int64_t joined = (int64_t)number(first, "joined_us");
    status = add_today(sql, id, joined, now, instrument);
    return status ? status : add_record(sql, id, joined, now, instrument);
}

static enum wp_status add_gateway(struct wp_sql *sql, cJSON *out)
{
    int64_t since = 0;
    enum wp_status status = wp_sql_int(
        sql, &since,
        "SELECT from_us FROM span WHERE subject = 'gateway' ORDER BY from_us DESC LIMIT 1", "");
    cJSON *gateway = cJSON_AddObjectToObject(out, "gateway");
    cJSON_AddNumberToObject(gateway, "up_since_us", (double)since);
    return status == WP_NOT_FOUND ? WP_OK : status;
}

WP_VIEW(wp_view_fleet)
{
    (void)ask;
    (void)error;
    int64_t now = wp_clock_utc();
    *out = cJSON_CreateObject();
    cJSON_AddNumberToObject(*out, "now_us", (double)now);
    enum wp_status status = add_gateway(sql, *out);
    if (!status)
        status = wp_add_rows(
            sql, *out, "instruments",
            "SELECT i.id, i.name, i.place, i.paused_until_us > ?1 AS \"paused?\", "
            "(SELECT max(c.received_us) FROM capture c JOIN measurement m ON m.capture_id = c.id "
            "WHERE m.instrument_id = i.id AND m.id = (SELECT max(x.id) FROM measurement x WHERE "
            "x.instrument_id = i.id)) AS last_spectrum_us, p.name AS printer, p.state AS "
            "printer_state FROM instrument i LEFT JOIN printer p ON p.id = i.first_printer_id "
            "WHERE i.retired_us IS NULL AND ?2 >= 0 ORDER BY i.name LIMIT 500",
            "ii", now, 0);
    cJSON *instrument = NULL;
    cJSON_ArrayForEach(instrument, cJSON_GetObjectItemCaseSensitive(*out, "instruments"))
    {
        if (!status)
            status = add_agents(sql, instrument, now);
    }
    return status ? status
                  : wp_add_rows(sql, *out, "printers",
                                "SELECT id, name, place, where_text AS \"where\", mode, state, "
                                "state_text, jobs, seen_us FROM printer WHERE retired_us IS NULL "
                                "AND ? >= ? ORDER BY name",
                                "ii", 0, 0);
}
