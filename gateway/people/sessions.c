#include "people/sessions.h"

#include "base/clock.h"

enum wp_status wp_session_open(struct wp_txn *txn, int64_t person, char token[WP_TOKEN_ROOM])
{
    unsigned char hash[WP_HASH_SIZE];
    wp_token_new(token);
    wp_token_hash(token, hash);
    enum wp_status status =
        wp_sql_run(txn->sql, "DELETE FROM session WHERE expires_us < ?", "i", txn->now);
    return status ? status
                  : wp_sql_run(txn->sql,
                               "INSERT INTO session (token_hash, person_id, created_us, used_us, "
                               "expires_us) VALUES (?, ?, ?, ?, ?)",
                               "biiii", hash, sizeof hash, person, txn->now, txn->now,
                               txn->now + WP_SESSION_LIFE);
}

enum wp_status wp_session_close(struct wp_txn *txn, const unsigned char hash[WP_HASH_SIZE])
{
    return wp_sql_run(txn->sql, "DELETE FROM session WHERE token_hash = ?", "b", hash,
                      (size_t)WP_HASH_SIZE);
}

enum wp_status wp_session_close_all(struct wp_txn *txn, int64_t person)
{
    return wp_sql_run(txn->sql, "DELETE FROM session WHERE person_id = ?", "i", person);
}

enum wp_status wp_session_close_one(struct wp_txn *txn, int64_t person,
                                    const unsigned char key[WP_SESSION_KEY])
{
    enum wp_status status = wp_sql_run(
        txn->sql, "DELETE FROM session WHERE person_id = ? AND substr(token_hash, 1, ?) = ?", "iib",
        person, (int64_t)WP_SESSION_KEY, (const void *)key, (size_t)WP_SESSION_KEY);
    return status ? status : wp_sql_changes(txn->sql) ? WP_OK : WP_NOT_FOUND;
}

enum wp_status wp_session_touch(struct wp_txn *txn, const unsigned char hash[WP_HASH_SIZE])
{
    return wp_sql_run(txn->sql,
                      "UPDATE session SET used_us = ? WHERE token_hash = ? AND used_us < ?", "ibi",
                      txn->now, hash, (size_t)WP_HASH_SIZE, txn->now - WP_MINUTE);
}

enum wp_status wp_link_make(struct wp_txn *txn, int64_t person, char token[WP_TOKEN_ROOM])
{
    unsigned char hash[WP_HASH_SIZE];
    wp_token_new(token);
    wp_token_hash(token, hash);
    enum wp_status status =
        wp_sql_run(txn->sql, "DELETE FROM login_link WHERE expires_us < ?", "i", txn->now);
    return status
               ? status
               : wp_sql_run(txn->sql,
                            "INSERT INTO login_link (token_hash, person_id, created_us, "
                            "expires_us) VALUES (?, ?, ?, ?)",
                            "biii", hash, sizeof hash, person, txn->now, txn->now + WP_LINK_LIFE);
}

enum wp_status wp_link_use(struct wp_txn *txn, const char *token, int64_t *person)
{
    unsigned char hash[WP_HASH_SIZE];
    wp_token_hash(token, hash);
    enum wp_status status = wp_sql_int(txn->sql, person,
                                       "SELECT person_id FROM login_link WHERE token_hash = ? "
                                       "AND used_us IS NULL AND expires_us > ?",
                                       "bi", hash, sizeof hash, txn->now);
    return status ? status
                  : wp_sql_run(txn->sql, "UPDATE login_link SET used_us = ? WHERE token_hash = ?",
                               "ib", txn->now, hash, sizeof hash);
}

enum wp_status wp_throttle(struct wp_txn *txn, const char *name, int64_t most, int64_t span_us)
{
    int64_t count = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &count, "SELECT count FROM throttle WHERE name = ? AND from_us > ?",
                   "ti", name, txn->now - span_us);
    if (status == WP_NOT_FOUND) {
        status = wp_sql_run(txn->sql, "DELETE FROM throttle WHERE name = ? OR from_us < ?", "ti",
                            name, txn->now - WP_DAY);
        return status ? status
                      : wp_sql_run(txn->sql,
                                   "INSERT INTO throttle (name, count, from_us) VALUES (?, 1, ?)",
                                   "ti", name, txn->now);
    }
    if (status)
        return status;
    if (count >= most)
        return WP_RETRY;
    return wp_sql_run(txn->sql, "UPDATE throttle SET count = count + 1 WHERE name = ?", "t", name);
}

enum wp_status wp_throttle_clear(struct wp_txn *txn, const char *name)
{
    return wp_sql_run(txn->sql, "DELETE FROM throttle WHERE name = ?", "t", name);
}
