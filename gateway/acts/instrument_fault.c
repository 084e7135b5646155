#include "instrument_fault.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "archive/record.h"
#include "base/bytes.h"
#include "db/event.h"
#include "spectrum/remarks.h"
#include "tell.h"

#define TURNS 3
#define OPEN_MOST 16
/* Kinds that all checks are for; blanks and backgrounds say nothing of a fault. */
#define COUNTED                                                                                    \
    "FROM measurement m JOIN stamp s ON s.id = m.stamp_id WHERE m.turn_id = ?1 AND "               \
    "m.technique = 'infrared' AND s.kind IN ('sample', 'repeat', 'standard', 'demonstration') "    \
    "ORDER BY m.id DESC LIMIT 1"

/* The newest counted spectrum of a turn. */
struct seen {
    int64_t turn;
    int64_t measurement;
    int64_t measured_us;
    char codes[WP_REMARKS_MOST][24];
    size_t count;
};

static void read_codes(const char *examination, struct seen *seen)
{
    cJSON *json = cJSON_Parse(examination);
    const cJSON *remark = NULL;
    cJSON_ArrayForEach(remark, cJSON_GetObjectItemCaseSensitive(json, "remarks"))
    {
        const char *code = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(remark, "code"));
        if (code && seen->count < WP_REMARKS_MOST)
            wp_text_copy(seen->codes[seen->count++], sizeof seen->codes[0], code);
    }
    cJSON_Delete(json);
}

static bool has(const struct seen *seen, const char *code)
{
    for (size_t i = 0; i < seen->count; i++)
        if (!strcmp(seen->codes[i], code))
            return true;
    return false;
}

static enum wp_status read_seen(struct wp_sql *sql, int64_t turn, struct seen *seen)
{
    *seen = (struct seen){.turn = turn};
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT m.id, m.measured_us, m.examination " COUNTED, "i", turn);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        seen->measurement = wp_rows_int(&rows, 0);
        seen->measured_us = wp_rows_int(&rows, 1);
        read_codes(wp_rows_text(&rows, 2), seen);
    }
    return wp_rows_end(&rows);
}

static enum wp_status tell(struct wp_txn *txn, int64_t instrument)
{
    enum wp_status status = wp_event_add(txn, "instrument", instrument, "{\"kind\":\"message\"}");
    if (!status)
        status = wp_event_add(txn, "staff", 0, "{\"kind\":\"notice\"}");
    return status ? status : wp_event_add(txn, "fleet", 0, "{\"kind\":\"notice\"}");
}

static enum wp_status record(struct wp_txn *txn, const char *verb, const char *table, int64_t id)
{
    char subject[48];
    (void)snprintf(subject, sizeof subject, "%s:%" PRId64, table, id);
    return wp_ledger_add(txn, WP_ACTOR_SYSTEM, 0, verb, subject, NULL, NULL);
}

/* ---- it is over ---- */

struct open {
    int64_t id;
    char code[24];
    bool earlier; /* noticed in a turn before this one */
};

static enum wp_status read_open(struct wp_sql *sql, int64_t instrument, int64_t turn,
                                struct open open[OPEN_MOST], size_t *count)
{
    struct wp_rows rows;
    *count = 0;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT n.id, n.code, a.opened_us < b.opened_us FROM notice n JOIN turn a ON a.id = "
        "n.turn_id JOIN turn b ON b.id = ? WHERE n.instrument_id = ? AND n.kind = 'instrument' AND "
        "n.code <> '' AND n.settled_us IS NULL",
        "ii", turn, instrument);
    if (status)
        return status;
    while (*count < OPEN_MOST && wp_rows_next(&rows)) {
        open[*count].id = wp_rows_int(&rows, 0);
        wp_text_copy(open[*count].code, sizeof open[*count].code, wp_rows_text(&rows, 1));
        open[(*count)++].earlier = wp_rows_int(&rows, 2) != 0;
    }
    return wp_rows_end(&rows);
}

/* Of more than two remarks only the worst are known: then it may be there all the same. */
static enum wp_status settle(struct wp_txn *txn, int64_t instrument, const struct seen *seen,
                             const struct open *open, size_t count)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < count; i++) {
        if (!open[i].earlier || has(seen, open[i].code) || seen->count == WP_REMARKS_MOST)
            continue;
        status = wp_notice_settle(txn, open[i].id, 0);
        if (!status)
            status = record(txn, "settle", "notice", open[i].id);
        if (!status)
            status = tell(txn, instrument);
    }
    return status;
}

/* ---- it begins ---- */

static enum wp_status last_turns(struct wp_sql *sql, int64_t instrument, int64_t turn,
                                 struct seen seen[TURNS], size_t *count)
{
    int64_t ids[TURNS];
    struct wp_rows rows;
    *count = 0;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT t.id FROM turn t WHERE t.instrument_id = ?1 AND t.opened_us <= (SELECT opened_us "
        "FROM turn WHERE id = ?2) AND EXISTS (SELECT 1 FROM measurement m JOIN stamp s ON s.id = "
        "m.stamp_id WHERE m.turn_id = t.id AND m.technique = 'infrared' AND s.kind IN ('sample', "
        "'repeat', 'standard', 'demonstration')) ORDER BY t.opened_us DESC LIMIT 3",
        "ii", instrument, turn);
    if (status)
        return status;
    while (*count < TURNS && wp_rows_next(&rows))
        ids[(*count)++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    for (size_t i = 0; !status && i < *count; i++)
        status = read_seen(sql, ids[i], &seen[i]);
    return status;
}

/* The same person three times may have the same bad habit three times. */
static enum wp_status different_people(struct wp_sql *sql, const struct seen seen[TURNS],
                                       bool *different)
{
    int64_t common = 0;
    enum wp_status status = wp_sql_int(
        sql, &common,
        "SELECT (SELECT count(*) FROM turn_person a JOIN turn_person b ON b.person_id = "
        "a.person_id AND b.turn_id > a.turn_id WHERE a.turn_id IN (?1, ?2, ?3) AND b.turn_id IN "
        "(?1, ?2, ?3)) + (SELECT count(*) FROM turn a JOIN turn b ON b.guest = a.guest AND b.id > "
        "a.id WHERE a.guest <> '' AND a.id IN (?1, ?2, ?3) AND b.id IN (?1, ?2, ?3))",
        "iii", seen[0].turn, seen[1].turn, seen[2].turn);
    *different = common == 0;
    return status;
}

static enum wp_status notice(struct wp_txn *txn, int64_t instrument, const struct seen seen[TURNS],
                             const char *code)
{
    char name[128] = "", text[256];
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows, "SELECT name FROM instrument WHERE id = ?", "i", instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows))
        wp_text_copy(name, sizeof name, wp_rows_text(&rows, 0));
    status = wp_rows_end(&rows);
    (void)snprintf(text, sizeof text, "%s: %s. Three turns running had the same remark.", name,
                   wp_remark_of_instrument(code));
    struct wp_notice one = {.kind = "instrument",
                            .instrument = instrument,
                            .measurement = seen[0].measurement,
                            .turn = seen[0].turn,
                            .code = code,
                            .from_us = seen[TURNS - 1].measured_us,
                            .text = text};
    if (!status)
        status = wp_notice_add(txn, &one);
    if (!status)
        status = record(txn, "fault", "instrument", instrument);
    return status ? status : tell(txn, instrument);
}

static bool is_open(const struct open *open, size_t count, const char *code)
{
    for (size_t i = 0; i < count; i++)
        if (!strcmp(open[i].code, code))
            return true;
    return false;
}

static enum wp_status begin(struct wp_txn *txn, int64_t instrument, const struct seen *newest,
                            const struct open *open, size_t open_count)
{
    struct seen seen[TURNS];
    size_t count = 0;
    bool different = false;
    enum wp_status status = last_turns(txn->sql, instrument, newest->turn, seen, &count);
    if (!status && count == TURNS)
        status = different_people(txn->sql, seen, &different);
    for (size_t i = 0; !status && different && i < newest->count; i++) {
        const char *code = newest->codes[i];
        if (wp_remark_of_instrument(code) && !is_open(open, open_count, code) &&
            has(&seen[1], code) && has(&seen[2], code))
            status = notice(txn, instrument, seen, code);
    }
    return status;
}

enum wp_status wp_watch_instrument(struct wp_txn *txn, int64_t instrument, int64_t measurement)
{
    int64_t turn = 0;
    struct seen seen;
    struct open open[OPEN_MOST];
    size_t open_count = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &turn, "SELECT coalesce(turn_id, 0) FROM measurement WHERE id = ?",
                   "i", measurement);
    if (status || !turn)
        return status == WP_NOT_FOUND ? WP_OK : status;
    status = read_seen(txn->sql, turn, &seen);
    if (status || seen.measurement != measurement)
        return status; /* no kind that counts, or not the newest of its turn */
    status = read_open(txn->sql, instrument, turn, open, &open_count);
    if (!status)
        status = settle(txn, instrument, &seen, open, open_count);
    bool faulty = false;
    for (size_t i = 0; i < seen.count; i++)
        faulty = faulty || wp_remark_of_instrument(seen.codes[i]);
    return status || !faulty ? status : begin(txn, instrument, &seen, open, open_count);
}
