#include "people/erasure.h"
#include "base/sql_words.h"

#define OF_LOGIN WP_SQL_HOLDS("throttle.name", "':' || lower(p.login)")
#define MENTIONS WP_SQL_HOLDS("lower(subject || ' ' || body)", "lower(?)")

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define SHORTEST 4

static void add_word(struct wp_forgotten *words, const char *first, const char *between,
                     const char *second)
{
    if (words->count == WP_FORGOTTEN_WORDS)
        return;
    char *word = words->words[words->count];
    int length = snprintf(word, WP_FORGOTTEN_ROOM, "%s%s%s", first, between, second);
    words->count += length >= SHORTEST && length < WP_FORGOTTEN_ROOM;
}

static enum wp_status add_numbers(struct wp_sql *sql, int64_t person, struct wp_forgotten *words)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT DISTINCT number FROM enrolled WHERE person_id = ? AND number <> ''",
        "i", person);
    if (status)
        return status;
    while (wp_rows_next(&rows))
        add_word(words, wp_rows_text(&rows, 0), "", "");
    return wp_rows_end(&rows);
}

enum wp_status wp_person_words(struct wp_sql *sql, int64_t person, struct wp_forgotten *words)
{
    struct wp_rows rows;
    words->count = 0;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT login, given, family, email, alias FROM person WHERE id = ? AND "
                     "erased_us IS NULL",
                     "i", person);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        const char *given = wp_rows_text(&rows, 1), *family = wp_rows_text(&rows, 2);
        add_word(words, wp_rows_text(&rows, 0), "", "");
        add_word(words, wp_rows_text(&rows, 3), "", "");
        add_word(words, wp_rows_text(&rows, 4), "", "");
        if (!*given || !*family)
            add_word(words, given, "", family);
        for (int i = 0; *given && *family && i < 4; i++) {
            static const char *const between[] = {" ", "_", ", ", ","};
            add_word(words, i < 2 ? given : family, between[i], i < 2 ? family : given);
        }
        add_word(words, family, "_", given);
    }
    status = wp_rows_end(&rows);
    if (!status && !found)
        status = WP_NOT_FOUND;
    return status ? status : add_numbers(sql, person, words);
}

/* Tries are counted under the sign-in name: "password:NAME", "link:NAME". */
static enum wp_status forget_tries(struct wp_txn *txn, int64_t person)
{
    return wp_sql_run(txn->sql,
                      "DELETE FROM throttle WHERE EXISTS (SELECT 1 FROM person p WHERE p.id = ? "
                      "AND " OF_LOGIN ")",
                      "i", person);
}

static enum wp_status empty_row(struct wp_txn *txn, int64_t person)
{
    char login[64];
    (void)snprintf(login, sizeof login, "erased-%" PRId64, person);
    enum wp_status status = wp_sql_run(
        txn->sql,
        "UPDATE person SET login = ?, given = '', family = 'Name removed', email = '', alias = '', "
        "password_hash = NULL, roles = 0, erased_us = ? WHERE id = ? AND erased_us IS NULL",
        "tii", login, txn->now, person);
    return status ? status : wp_sql_changes(txn->sql) ? WP_OK : WP_NOT_FOUND;
}

static enum wp_status forget_mails(struct wp_txn *txn, const struct wp_forgotten *words)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < words->count; i++)
        status =
            wp_sql_run(txn->sql, "DELETE FROM staff_mail WHERE " MENTIONS, "t", words->words[i]);
    return status;
}

enum wp_status wp_person_erase(struct wp_txn *txn, int64_t person, const struct wp_forgotten *words)
{
    static const char *const steps[] = {
        "DELETE FROM session WHERE person_id = ?",
        "DELETE FROM login_link WHERE person_id = ?",
        "DELETE FROM staff_mail WHERE person_id = ?",
        "DELETE FROM bench_card WHERE person_id = ?",
        "DELETE FROM waiting WHERE person_id = ?",
        "DELETE FROM enrolled WHERE person_id = ?",
        "DELETE FROM section_staff WHERE person_id = ?",
        ("UPDATE turn SET guest = 'Name removed', sample = '' WHERE id IN (SELECT t.turn_id FROM "
         "turn_person t WHERE t.person_id = ?1 AND NOT EXISTS (SELECT 1 FROM turn_person o WHERE "
         "o.turn_id = t.turn_id AND o.person_id <> ?1))"),
        ("UPDATE turn SET closed_us = max(opened_us, ?2), done_us = max(opened_us, ?2) WHERE "
         "closed_us IS NULL AND guest = 'Name removed' AND id IN (SELECT turn_id FROM turn_person "
         "WHERE person_id = ?1)"),
        "DELETE FROM turn_person WHERE person_id = ?",
    };
    enum wp_status status = forget_tries(txn, person);
    if (!status)
        status = forget_mails(txn, words);
    if (!status)
        status = empty_row(txn, person);
    for (size_t i = 0; !status && i < sizeof steps / sizeof steps[0]; i++)
        status = strstr(steps[i], "?2") ? wp_sql_run(txn->sql, steps[i], "ii", person, txn->now)
                                        : wp_sql_run(txn->sql, steps[i], "i", person);
    return status;
}

enum wp_status wp_other_administrator(struct wp_sql *sql, int64_t person)
{
    int64_t one = 0;
    return wp_sql_int(sql, &one,
                      "SELECT 1 FROM person WHERE id <> ? AND roles & ? <> 0 AND erased_us IS NULL "
                      "LIMIT 1",
                      "ii", person, (int64_t)WP_ROLE_ADMINISTRATOR);
}
