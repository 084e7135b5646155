#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/id.h"
#include "people/persons.h"
#include "people/timetable.h"

#define ENDED_AT_ONCE 32

enum wp_status wp_term_named(struct wp_sql *sql, const char *code, int64_t *id,
                             struct wp_error *error)
{
    enum wp_status status =
        wp_sql_int(sql, id, "SELECT id FROM term WHERE code = ?", "t", code ? code : "");
    return status == WP_NOT_FOUND
               ? wp_fail(error, status, "There is no term \"%.64s\".", code ? code : "")
               : status;
}

/* One day of the body into `*day`, which keeps what it has if the member is absent. */
static enum wp_status ask_day(const struct wp_ask *ask, const char *name, int *day,
                              struct wp_error *error)
{
    const char *text = wp_ask_text(ask, name);
    if (text && !wp_day_parse(text, day))
        return wp_fail(error, WP_INVALID, "\"%s\": \"%.32s\" is not a day such as 2026-03-02.",
                       name, text);
    return WP_OK;
}

static enum wp_status read_term(struct wp_sql *sql, const char *code, int64_t *id, int *first,
                                int *last, int64_t *ends)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT id, first_day, last_day, ends_us FROM term WHERE code = ?", "t", code);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        *id = wp_rows_int(&rows, 0);
        *first = (int)wp_rows_int(&rows, 1);
        *last = (int)wp_rows_int(&rows, 2);
        *ends = wp_rows_int(&rows, 3);
    }
    return wp_rows_end(&rows);
}

static enum wp_status check_days(int first, int last, struct wp_error *error)
{
    if (!first || !last)
        return wp_fail(error, WP_INVALID,
                       "A term needs its \"first\" and \"last\" day, such as 2026-01-12.");
    if (last < first)
        return wp_fail(error, WP_INVALID, "The term's last day is before its first.");
    if (wp_days_between(first, last) >= WP_TERM_DAYS)
        return wp_fail(error, WP_INVALID, "A term is at most %d days long.", WP_TERM_DAYS);
    return WP_OK;
}

/* Those that ended with the term, not those that somebody ended. */
static enum wp_status reopen(struct wp_txn *txn, int64_t term, int64_t ended)
{
    return wp_sql_run(txn->sql,
                      "UPDATE section SET ended_us = NULL WHERE term_id = ? AND ended_us = ?", "ii",
                      term, ended);
}

enum wp_status wp_term_put(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                           struct wp_error *error)
{
    const char *code = wp_ask_text(ask, "code"), *title = wp_ask_text(ask, "title");
    int first = 0, last = 0;
    int64_t before = 0, ended = 0;
    *id = 0;
    if (!wp_typed_ok(code, 32, false) || (title && !wp_typed_ok(title, 200, true)))
        return wp_fail(error, WP_INVALID, "A term needs a code of 1 to 32 bytes.");
    enum wp_status status = read_term(txn->sql, code, id, &first, &last, &before);
    if (!status)
        status = wp_put_fits(ask, *id ? WP_OK : WP_NOT_FOUND, "a term", code, error);
    if (!status)
        status = ask_day(ask, "first", &first, error);
    if (!status)
        status = ask_day(ask, "last", &last, error);
    if (!status)
        status = check_days(first, last, error);
    if (status)
        return status;
    int64_t ends = wp_day_span(wp_day_add(last, 1), 0, 1).starts_us;
    if (!*id) {
        *id = wp_id_next();
        return wp_sql_run(txn->sql,
                          "INSERT INTO term (id, code, title, first_day, last_day, ends_us, "
                          "created_us) VALUES (?, ?, ?, ?, ?, ?, ?)",
                          "ittiiii", *id, code, title ? title : "", (int64_t)first, (int64_t)last,
                          ends, txn->now);
    }
    status = wp_sql_run(txn->sql,
                        "UPDATE term SET title = coalesce(?, title), first_day = ?, last_day = ?, "
                        "ends_us = ?, ended_us = CASE WHEN ends_us = ?4 THEN ended_us END "
                        "WHERE id = ?5",
                        "tiiii", title, (int64_t)first, (int64_t)last, ends, *id);
    if (!status && before != ends)
        status = reopen(txn, *id, before);
    if (!status)
        status = wp_timetable_refresh(txn, 0, *id, error);
    return status ? status : wp_terms_end(txn, &ended);
}

enum wp_status wp_term_remove(struct wp_txn *txn, int64_t id, struct wp_error *error)
{
    int64_t used = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &used, "SELECT count(*) FROM section WHERE term_id = ?", "i", id);
    if (!status && used)
        return wp_fail(error, WP_CONFLICT, "Sections belong to this term (%" PRId64 ").", used);
    if (!status)
        status = wp_sql_run(txn->sql, "DELETE FROM term WHERE id = ?", "i", id);
    if (!status && !wp_sql_changes(txn->sql))
        return wp_fail(error, WP_NOT_FOUND, "There is no such term.");
    return status;
}

static enum wp_status end_one(struct wp_txn *txn, int64_t term)
{
    char subject[48];
    (void)snprintf(subject, sizeof subject, "term:%" PRId64, term);
    enum wp_status status =
        wp_sql_run(txn->sql,
                   "UPDATE section SET ended_us = (SELECT ends_us FROM term WHERE id = ?1) WHERE "
                   "term_id = ?1 AND ended_us IS NULL",
                   "i", term);
    if (!status)
        status =
            wp_sql_run(txn->sql, "UPDATE term SET ended_us = ? WHERE id = ?", "ii", txn->now, term);
    return status ? status
                  : wp_ledger_add(txn, WP_ACTOR_SYSTEM, 0, "term-end", subject, NULL, NULL);
}

enum wp_status wp_terms_end(struct wp_txn *txn, int64_t *ended)
{
    int64_t terms[ENDED_AT_ONCE];
    size_t count = 0;
    struct wp_rows rows;
    *ended = 0;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows, "SELECT id FROM term WHERE ended_us IS NULL AND ends_us <= ?",
                     "i", txn->now);
    if (status)
        return status;
    while (count < ENDED_AT_ONCE && wp_rows_next(&rows))
        terms[count++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    for (size_t i = 0; !status && i < count; i++) {
        status = end_one(txn, terms[i]);
        (*ended)++;
    }
    return status;
}
