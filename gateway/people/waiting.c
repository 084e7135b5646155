#include "people/waiting.h"

/* The end of the class that meets at the instrument, or some hours from now. */
static enum wp_status waits_until(struct wp_txn *txn, int64_t instrument, int64_t *until)
{
    return wp_sql_int(txn->sql, until,
                      "SELECT coalesce(max(m.ends_us), ?2 + ?3) FROM meeting m JOIN section s "
                      "ON s.id = m.section_id JOIN instrument i ON i.id = ?1 WHERE "
                      "m.starts_us <= ?2 AND m.ends_us > ?2 AND (s.place = '' OR "
                      "i.place = s.place OR substr(i.place, 1, length(s.place) + 1) = "
                      "s.place || '/')",
                      "iii", instrument, txn->now, (int64_t)WP_WAIT_MOST);
}

enum wp_status wp_wait_note(struct wp_txn *txn, int64_t instrument, int64_t person, bool listed)
{
    int64_t until = 0;
    enum wp_status status = waits_until(txn, instrument, &until);
    if (!status)
        status = wp_sql_run(txn->sql, "DELETE FROM waiting WHERE until_us <= ?", "i", txn->now);
    return status ? status
                  : wp_sql_run(txn->sql,
                               "INSERT INTO waiting (instrument_id, person_id, listed, since_us, "
                               "until_us) VALUES (?1, ?2, ?3, ?4, ?5) "
                               "ON CONFLICT (instrument_id, person_id) DO UPDATE SET "
                               "since_us = CASE WHEN listed < ?3 THEN ?4 ELSE since_us END, "
                               "listed = max(listed, ?3), until_us = ?5",
                               "iiiii", instrument, person, (int64_t)listed, txn->now, until);
}

enum wp_status wp_wait_end(struct wp_txn *txn, int64_t instrument, int64_t person)
{
    return wp_sql_run(txn->sql,
                      "DELETE FROM waiting WHERE person_id = ?1 AND (?2 = 0 OR instrument_id = ?2)",
                      "ii", person, instrument);
}
