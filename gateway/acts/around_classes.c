#include "around_classes.h"

#include <inttypes.h>
#include <stdio.h>

#include "acts/site.h"
#include "base/bytes.h"
#include "base/id.h"
#include "db/event.h"
#include "guests.h"
#include "ledger/ledger.h"
#include "people/timetable.h"
#include "views/classes.h"

#define AT_ONCE 32

struct class
{
    int64_t meeting;
    int64_t section;
    int64_t starts_us;
    int64_t ends_us;
};

static enum wp_status read_classes(struct wp_sql *sql, const char *query, int64_t from, int64_t to,
                                   struct class list[AT_ONCE], size_t *count)
{
    struct wp_rows rows;
    *count = 0;
    enum wp_status status = wp_sql_query(sql, &rows, query, "ii", from, to);
    if (status)
        return status;
    while (*count < AT_ONCE && wp_rows_next(&rows))
        list[(*count)++] = (struct class){wp_rows_int(&rows, 0), wp_rows_int(&rows, 1),
                                          wp_rows_int(&rows, 2), wp_rows_int(&rows, 3)};
    return wp_rows_end(&rows);
}

static enum wp_status tell(struct wp_txn *txn, int64_t section, const char *kind)
{
    enum wp_status status = wp_event_addf(txn, "section", section, "{\"kind\":\"%s\"}", kind);
    return status ? status : wp_event_addf(txn, "staff", 0, "{\"kind\":\"%s\"}", kind);
}

/* ---- half an hour before ---- */

static enum wp_status mail_technicians(struct wp_txn *txn, const struct class *one,
                                       const char *text)
{
    int64_t persons[AT_ONCE];
    size_t count = 0;
    char body[6000];
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows,
        "SELECT id FROM person WHERE roles & 16 <> 0 AND email <> '' AND erased_us IS NULL ORDER "
        "BY id LIMIT 32",
        "");
    if (status)
        return status;
    while (count < AT_ONCE && wp_rows_next(&rows))
        persons[count++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    (void)snprintf(body, sizeof body, "%s.\n\n%s/fleet\n", text, wp_site.public_url);
    for (size_t i = 0; !status && i < count; i++)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO staff_mail (id, person_id, subject, body, due_us, "
                            "until_us) VALUES (?, ?, ?, ?, ?, ?)",
                            "iittii", wp_id_next(), persons[i],
                            "Not every instrument is ready for the next class", body, txn->now,
                            one->ends_us);
    return status;
}

static enum wp_status before(struct wp_txn *txn, const struct class *one)
{
    bool red = false;
    cJSON *object = cJSON_CreateObject();
    enum wp_status status = wp_class_readiness(txn->sql, one->meeting, txn->now, object, &red);
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, "text"));
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO class_said (section_id, starts_us, before_us, red) VALUES "
                            "(?, ?, ?, ?) ON CONFLICT (section_id, starts_us) DO UPDATE SET "
                            "before_us = excluded.before_us, red = excluded.red",
                            "iiii", one->section, one->starts_us, txn->now, (int64_t)red);
    if (!status && red)
        status = mail_technicians(txn, one, text ? text : "");
    cJSON_Delete(object);
    return status ? status : tell(txn, one->section, "class-before");
}

static enum wp_status before_classes(struct wp_txn *txn)
{
    struct class list[AT_ONCE];
    size_t count = 0;
    enum wp_status status = read_classes(
        txn->sql,
        "SELECT m.id, m.section_id, m.starts_us, m.ends_us FROM meeting m JOIN section s ON s.id "
        "= m.section_id AND s.ended_us IS NULL LEFT JOIN class_said c ON c.section_id = "
        "m.section_id AND c.starts_us = m.starts_us WHERE m.starts_us > ? AND m.starts_us <= ? "
        "AND c.before_us IS NULL ORDER BY m.starts_us",
        txn->now, txn->now + WP_CLASS_BEFORE, list, &count);
    for (size_t i = 0; !status && i < count; i++)
        status = before(txn, &list[i]);
    return status;
}

/* ---- ten minutes before the end ---- */

static enum wp_status ending_classes(struct wp_txn *txn)
{
    struct class list[AT_ONCE];
    size_t count = 0;
    enum wp_status status = read_classes(
        txn->sql,
        "SELECT m.id, m.section_id, m.starts_us, m.ends_us FROM meeting m JOIN section s ON s.id "
        "= m.section_id AND s.ended_us IS NULL LEFT JOIN class_said c ON c.section_id = "
        "m.section_id AND c.starts_us = m.starts_us WHERE m.ends_us > ? AND m.ends_us <= ? AND "
        "c.ending_us IS NULL ORDER BY m.ends_us",
        txn->now, txn->now + WP_CLASS_ENDING, list, &count);
    for (size_t i = 0; !status && i < count; i++) {
        status = wp_sql_run(txn->sql,
                            "INSERT INTO class_said (section_id, starts_us, ending_us) VALUES (?, "
                            "?, ?) ON CONFLICT (section_id, starts_us) DO UPDATE SET ending_us = "
                            "excluded.ending_us",
                            "iii", list[i].section, list[i].starts_us, txn->now);
        if (!status)
            status = tell(txn, list[i].section, "class-ending");
    }
    return status;
}

/* ---- three minutes into a turn ---- */

static enum wp_status silent_turns(struct wp_txn *txn)
{
    struct class list[AT_ONCE]; /* turn, instrument */
    size_t count = 0;
    enum wp_status status = read_classes(
        txn->sql,
        "SELECT t.id, t.instrument_id, t.opened_us, t.opened_us FROM turn t WHERE t.closed_us IS "
        "NULL AND t.nothing_us IS NULL AND t.opened_us > ? AND t.opened_us < ? AND NOT EXISTS "
        "(SELECT 1 FROM measurement m WHERE m.turn_id = t.id) ORDER BY t.id",
        txn->now - WP_DAY, txn->now - WP_NOTHING_AFTER, list, &count);
    for (size_t i = 0; !status && i < count; i++) {
        status = wp_sql_run(txn->sql, "UPDATE turn SET nothing_us = ? WHERE id = ?", "ii", txn->now,
                            list[i].meeting);
        if (!status)
            status = wp_event_add(txn, "instrument", list[i].section, "{\"kind\":\"nothing\"}");
    }
    return status;
}

enum wp_status wp_around_classes(struct wp_txn *txn)
{
    int64_t ended = 0;
    enum wp_status status = wp_terms_end(txn, &ended);
    if (!status)
        status = before_classes(txn);
    if (!status)
        status = ending_classes(txn);
    if (!status)
        status = silent_turns(txn);
    return status ? status : wp_guests_leave(txn);
}
