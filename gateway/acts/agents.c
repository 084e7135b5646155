#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/fleet_acts.h"
#include "base/bytes.h"
#include "base/id.h"
#include "base/secret.h"
#include "db/event.h"
#include "people/persons.h"
#include "people/sessions.h"

/* A change of offset below this is jitter of the network, not news ... */
#define OFFSET_STEP WP_SECOND
/* ... but a heartbeat that was quicker on its way by more than this ties the clocks better. */
#define OFFSET_BETTER INT64_C(5000)
/* One sample at least in so long, so that a boot is always tied to our clock. */
#define SAMPLE_EVERY WP_HOUR
#define EVENTS_MOST 50

static enum wp_status use_code(struct wp_txn *txn, const struct wp_ask *ask, const char *kind,
                               int64_t *instrument, struct wp_error *error)
{
    char code[WP_CODE_ROOM] = "", throttle[96];
    unsigned char hash[WP_HASH_SIZE];
    const char *typed = wp_ask_text(ask, "code");
    (void)snprintf(throttle, sizeof throttle, "join:%s", ask->address ? ask->address : "");
    enum wp_status status = wp_throttle(txn, throttle, 60, WP_HOUR);
    if (status)
        return status == WP_RETRY ? wp_fail(error, status, "Too many tries; wait an hour.")
                                  : status;
    txn->keep = true; /* a wrong code counts; nothing else has been written yet */
    if (!typed || !wp_code_clean(typed, code))
        return wp_fail(error, WP_NOT_FOUND, "This code is not known.");
    wp_token_hash(code, hash);
    struct wp_rows rows;
    status = wp_sql_query(txn->sql, &rows,
                          "SELECT instrument_id, expires_us FROM join_code WHERE code_hash = ? AND "
                          "kind = ? AND used_us IS NULL",
                          "bt", hash, sizeof hash, kind);
    if (status)
        return status;
    int64_t expires = 0;
    bool found = wp_rows_next(&rows);
    if (found) {
        *instrument = wp_rows_int(&rows, 0);
        expires = wp_rows_int(&rows, 1);
    }
    status = wp_rows_end(&rows);
    if (status)
        return status;
    if (!found)
        return wp_fail(error, WP_NOT_FOUND, "This code is not known or was used already.");
    if (expires <= txn->now)
        return wp_fail(error, WP_CONFLICT, "This code is too old; ask for a new one.");
    txn->keep = false;
    return wp_sql_run(txn->sql, "UPDATE join_code SET used_us = ? WHERE code_hash = ?", "ib",
                      txn->now, hash, sizeof hash);
}

static enum wp_status describe(struct wp_txn *txn, int64_t instrument, cJSON *out)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows, "SELECT name, place FROM instrument WHERE id = ?", "i", instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        cJSON *object = cJSON_AddObjectToObject(out, "instrument");
        cJSON_AddNumberToObject(object, "id", (double)instrument);
        cJSON_AddStringToObject(object, "name", wp_rows_text(&rows, 0));
        cJSON_AddStringToObject(object, "place", wp_rows_text(&rows, 1));
    }
    return wp_rows_end(&rows);
}

static void add_head(cJSON *out, const struct wp_ledger_head *head)
{
    char hex[2 * WP_LEDGER_HASH + 1];
    wp_hex_encode(head->hash, WP_LEDGER_HASH, hex);
    cJSON *ledger = cJSON_AddObjectToObject(out, "ledger");
    cJSON_AddNumberToObject(ledger, "number", (double)head->number);
    cJSON_AddStringToObject(ledger, "hash", hex);
}

WP_ACT(wp_act_agent_join)
{
    int64_t instrument = 0, id = wp_id_next(), time = txn->now;
    char token[WP_TOKEN_ROOM], subject[64];
    unsigned char hash[WP_HASH_SIZE];
    enum wp_status status = use_code(txn, ask, "agent", &instrument, error);
    if (status)
        return status;
    const char *version = wp_ask_text(ask, "version"), *platform = wp_ask_text(ask, "platform");
    if ((version && !wp_typed_ok(version, 32, true)) ||
        (platform && !wp_typed_ok(platform, 32, true)))
        return wp_fail(error, WP_INVALID, "\"version\" or \"platform\" is not plain short text.");
    (void)wp_ask_int(ask, "time_us", &time);
    wp_token_new(token);
    wp_token_hash(token, hash);
    status = wp_sql_run(txn->sql,
                        "INSERT INTO agent (id, instrument_id, token_hash, platform, version, "
                        "joined_us, seen_us, offset_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                        "iibttiii", id, instrument, hash, sizeof hash, platform ? platform : "",
                        version ? version : "", txn->now, txn->now, txn->now - time);
    struct wp_ledger_head head;
    (void)snprintf(subject, sizeof subject, "agent:%" PRId64, id);
    if (!status)
        status = wp_ledger_add(txn, WP_ACTOR_AGENT, id, "join", subject, NULL, &head);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    cJSON_AddStringToObject(*out, "token", token);
    cJSON_AddNumberToObject(*out, "agent", (double)id);
    add_head(*out, &head);
    return describe(txn, instrument, *out);
}

WP_ACT(wp_act_bench_enrol)
{
    int64_t instrument = 0, id = wp_id_next();
    char token[WP_TOKEN_ROOM], subject[64];
    unsigned char hash[WP_HASH_SIZE];
    enum wp_status status = use_code(txn, ask, "bench", &instrument, error);
    if (status)
        return status;
    wp_token_new(token);
    wp_token_hash(token, hash);
    status = wp_sql_run(txn->sql,
                        "INSERT INTO bench (id, instrument_id, token_hash, enrolled_us, seen_us) "
                        "VALUES (?, ?, ?, ?, ?)",
                        "iibii", id, instrument, hash, sizeof hash, txn->now, txn->now);
    (void)snprintf(subject, sizeof subject, "bench:%" PRId64, id);
    if (!status)
        status = wp_ledger_add(txn, WP_ACTOR_BENCH, id, "join", subject, NULL, NULL);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    cJSON_AddStringToObject(*out, "bench_token", token);
    return describe(txn, instrument, *out);
}

WP_ACT(wp_act_agent_revoke)
{
    (void)out;
    int64_t id = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return wp_fail(error, WP_NOT_FOUND, "There is no such agent.");
    enum wp_status status =
        wp_sql_run(txn->sql, "UPDATE agent SET revoked_us = ? WHERE id = ? AND revoked_us IS NULL",
                   "ii", txn->now, id);
    if (!status && !wp_sql_changes(txn->sql))
        return wp_fail(error, WP_NOT_FOUND, "There is no such agent.");
    return status ? status : wp_ask_record(txn, ask, "revoke", "agent", id, NULL);
}

static const cJSON *part(const struct wp_ask *ask, const char *object, const char *member)
{
    const cJSON *found = cJSON_GetObjectItemCaseSensitive(ask->body, object);
    return cJSON_GetObjectItemCaseSensitive(found, member);
}

static int64_t whole(const cJSON *item)
{
    double value = cJSON_IsNumber(item) ? item->valuedouble : 0;
    return value > -9e15 && value < 9e15 ? (int64_t)value : 0;
}

static enum wp_status sample_clock(struct wp_txn *txn, const struct wp_ask *ask, int64_t offset)
{
    int64_t steady = 0, recent = 0;
    const char *boot = wp_ask_text(ask, "boot_id");
    if (!boot || !wp_typed_ok(boot, 47, false) || !wp_ask_int(ask, "steady_us", &steady))
        return WP_OK;
    enum wp_status status = wp_sql_int(
        txn->sql, &recent,
        "SELECT 1 FROM clock_sample WHERE agent_id = ? AND boot_id = ? AND at_us > ? AND "
        "offset_us > ? AND offset_us <= ? LIMIT 1",
        "itiii", ask->who->id, boot, txn->now - SAMPLE_EVERY, offset - OFFSET_STEP,
        offset + OFFSET_BETTER);
    if (status != WP_NOT_FOUND)
        return status;
    return wp_sql_run(txn->sql,
                      "INSERT INTO clock_sample (agent_id, at_us, boot_id, steady_us, offset_us) "
                      "VALUES (?, ?, ?, ?, ?) ON CONFLICT (agent_id, at_us) DO NOTHING",
                      "iitii", ask->who->id, txn->now, boot, steady, offset);
}

/* The agent saw a ledger entry when it got its last receipt: is it still there? */
static enum wp_status witness(struct wp_txn *txn, const struct wp_ask *ask,
                              struct wp_ledger_head *head, bool *sound)
{
    const char *hash = cJSON_GetStringValue(part(ask, "ledger", "hash"));
    head->number = whole(part(ask, "ledger", "number"));
    *sound = true;
    if (head->number <= 0 || !hash || !wp_hex_decode(hash, head->hash, WP_LEDGER_HASH)) {
        head->number = 0;
        return WP_OK;
    }
    enum wp_status status = wp_ledger_witness(txn->sql, head);
    *sound = status == WP_OK;
    return status == WP_INVALID || status == WP_NOT_FOUND ? WP_OK : status;
}

static enum wp_status store_heartbeat(struct wp_txn *txn, const struct wp_ask *ask, int64_t offset,
                                      const struct wp_ledger_head *head, bool sound)
{
    const cJSON *folders = cJSON_GetObjectItemCaseSensitive(ask->body, "folders");
    char *text = cJSON_IsArray(folders) ? cJSON_PrintUnformatted(folders) : NULL;
    const char *version = wp_ask_text(ask, "version");
    int64_t disk = 0, refused = 0;
    (void)wp_ask_int(ask, "disk_free", &disk);
    (void)wp_ask_int(ask, "refused", &refused);
    enum wp_status status = wp_sql_run(
        txn->sql,
        "UPDATE agent SET seen_us = ?, offset_us = ?, version = ?, queue_count = ?, "
        "queue_bytes = ?, queue_oldest_us = nullif(?, 0), disk_free = ?, spool_stopped = ?, "
        "refused = ?, folders = ?, ledger_number = max(ledger_number, ?), "
        "ledger_hash = CASE WHEN ? >= ledger_number THEN ? ELSE ledger_hash END, ledger_ok = ? "
        "WHERE id = ?",
        "iitiiiiiitiibii", txn->now, offset,
        version && wp_typed_ok(version, 32, true) ? version : "",
        whole(part(ask, "queue", "count")), whole(part(ask, "queue", "bytes")),
        whole(part(ask, "queue", "oldest_us")), disk,
        (int64_t)cJSON_IsTrue(part(ask, "spool", "stopped")), refused,
        text && strlen(text) < 8192 ? text : "[]", head->number,
        head->number ? head->number : (int64_t)-1, head->hash, (size_t)WP_LEDGER_HASH,
        (int64_t)sound, ask->who->id);
    free(text);
    return status;
}

/* States over time are kept by spans; an agent is up while heartbeats come. */
static enum wp_status extend_span(struct wp_txn *txn, int64_t agent)
{
    const int64_t gap = 3 * WP_HEARTBEAT_S * WP_SECOND;
    enum wp_status status = wp_sql_run(
        txn->sql,
        "UPDATE span SET to_us = ? WHERE id = (SELECT id FROM span WHERE subject = 'agent' AND "
        "subject_id = ? ORDER BY from_us DESC LIMIT 1) AND to_us >= ?",
        "iii", txn->now, agent, txn->now - gap);
    if (status || wp_sql_changes(txn->sql))
        return status;
    return wp_sql_run(txn->sql,
                      "INSERT INTO span (id, subject, subject_id, state, from_us, to_us) "
                      "VALUES (?, 'agent', ?, 'up', ?, ?)",
                      "iiii", wp_id_next(), agent, txn->now, txn->now);
}

WP_ACT(wp_act_agent_heartbeat)
{
    (void)error;
    int64_t time = txn->now, paused = 0;
    bool sound = true;
    struct wp_ledger_head head = {0};
    (void)wp_ask_int(ask, "time_us", &time);
    int64_t offset = txn->now - time;
    enum wp_status status = witness(txn, ask, &head, &sound);
    if (!status)
        status = store_heartbeat(txn, ask, offset, &head, sound);
    if (!status)
        status = sample_clock(txn, ask, offset);
    if (!status)
        status = extend_span(txn, ask->who->id);
    if (!status)
        status =
            wp_sql_int(txn->sql, &paused, "SELECT paused_until_us > ? FROM instrument WHERE id = ?",
                       "ii", txn->now, ask->who->instrument);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    cJSON_AddNumberToObject(*out, "time_us", (double)txn->now);
    cJSON_AddNumberToObject(*out, "every_s", WP_HEARTBEAT_S);
    cJSON_AddBoolToObject(*out, "paused", paused != 0);
    cJSON_AddBoolToObject(*out, "ledger_ok", sound);
    return WP_OK;
}

WP_ACT(wp_act_agent_events)
{
    (void)out;
    const cJSON *event = NULL, *events = cJSON_GetObjectItemCaseSensitive(ask->body, "events");
    if (!cJSON_IsArray(events) || cJSON_GetArraySize(events) > EVENTS_MOST)
        return wp_fail(error, WP_INVALID, "\"events\" is a list of at most %d.", EVENTS_MOST);
    enum wp_status status = WP_OK;
    cJSON_ArrayForEach(event, events)
    {
        const char *kind = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(event, "kind"));
        const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(event, "text"));
        int64_t at = whole(cJSON_GetObjectItemCaseSensitive(event, "at_us"));
        char clean[WP_NAME_MOST * 4];
        if (!wp_typed_ok(kind, 24, false))
            return wp_fail(error, WP_INVALID, "An event needs a kind.");
        wp_text_clean(text ? text : "", text ? strlen(text) : 0, clean, sizeof clean);
        if (!status)
            status = wp_sql_run(txn->sql,
                                "INSERT INTO agent_event (id, agent_id, instrument_id, at_us, "
                                "kind, text) VALUES (?, ?, ?, ?, ?, ?)",
                                "iiiitt", wp_id_next(), ask->who->id, ask->who->instrument,
                                at ? at : txn->now, kind, clean);
    }
    if (!status)
        status = wp_event_add(txn, "instrument", ask->who->instrument, "{\"kind\":\"message\"}");
    return status ? status : wp_event_add(txn, "fleet", 0, "{\"kind\":\"agent\"}");
}
