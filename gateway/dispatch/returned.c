/* Mail that came back: whose it was, what it means for the delivery, and for the address. */
#include "returned.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "ledger/ledger.h"
#include "people/persons.h"

static enum wp_status make_key(struct wp_txn *txn, unsigned char key[WP_HASH_SIZE])
{
    char text[2 * WP_HASH_SIZE + 1];
    wp_random(key, WP_HASH_SIZE);
    wp_hex_encode(key, WP_HASH_SIZE, text);
    return wp_sql_run(txn->sql,
                      "INSERT INTO setting (name, value, changed_us) VALUES ('mail.key', ?, ?)",
                      "ti", text, txn->now);
}

/* WP_NOT_FOUND if there is none yet. */
static enum wp_status read_key(struct wp_sql *sql, unsigned char key[WP_HASH_SIZE])
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT value FROM setting WHERE name = 'mail.key'", "");
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    bool good = found && wp_hex_decode(wp_rows_text(&rows, 0), key, WP_HASH_SIZE);
    status = wp_rows_end(&rows);
    if (status || good)
        return status;
    return found ? WP_BROKEN : WP_NOT_FOUND;
}

enum wp_status wp_mail_key(struct wp_txn *txn, unsigned char key[WP_HASH_SIZE])
{
    enum wp_status status = read_key(txn->sql, key);
    return status == WP_NOT_FOUND ? make_key(txn, key) : status;
}

void wp_mail_digest(const unsigned char key[WP_HASH_SIZE], const char *address,
                    char digest[WP_DIGEST_TEXT])
{
    unsigned char hash[WP_HASH_SIZE];
    wp_keyed_hash(key, address, strlen(address), hash);
    wp_hex_encode(hash, (WP_DIGEST_TEXT - 1) / 2, digest);
}

/* ---- the address ---- */

enum wp_status wp_returned_note(struct wp_txn *txn, int64_t person, const char *digest,
                                bool stopped, const char *reason)
{
    char subject[40];
    enum wp_status status =
        wp_sql_run(txn->sql,
                   "INSERT INTO mail_returned (person_id, address_digest, stopped, reason, at_us)"
                   " VALUES (?, ?, ?, ?, ?) ON CONFLICT (person_id) DO UPDATE SET"
                   " address_digest = excluded.address_digest, stopped = excluded.stopped,"
                   " reason = excluded.reason, at_us = excluded.at_us",
                   "ititi", person, digest, (int64_t)stopped, reason, txn->now);
    if (status || !stopped)
        return status;
    snprintf(subject, sizeof subject, "person:%" PRId64, person);
    return wp_ledger_add(txn, WP_ACTOR_SYSTEM, 0, "mail-stopped", subject, NULL, NULL);
}

enum wp_status wp_returned_forget(struct wp_txn *txn, int64_t person)
{
    return wp_sql_run(txn->sql, "DELETE FROM mail_returned WHERE person_id = ?", "i", person);
}

static enum wp_status read_row(struct wp_sql *sql, int64_t person, char digest[WP_DIGEST_TEXT],
                               struct wp_returned *returned)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(sql, &rows,
                                         "SELECT address_digest, stopped, reason, at_us"
                                         " FROM mail_returned WHERE person_id = ?",
                                         "i", person);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        returned->any = true;
        wp_text_copy(digest, WP_DIGEST_TEXT, wp_rows_text(&rows, 0));
        returned->stopped = wp_rows_int(&rows, 1) != 0;
        wp_text_copy(returned->reason, sizeof returned->reason, wp_rows_text(&rows, 2));
        returned->at_us = wp_rows_int(&rows, 3);
    }
    return wp_rows_end(&rows);
}

enum wp_status wp_returned_read(struct wp_sql *sql, int64_t person, struct wp_returned *returned)
{
    unsigned char key[WP_HASH_SIZE];
    char digest[WP_DIGEST_TEXT] = "";
    char now[WP_DIGEST_TEXT];
    char address[WP_ADDRESS_ROOM] = "";
    memset(returned, 0, sizeof *returned);
    enum wp_status status = read_row(sql, person, digest, returned);
    if (status || !returned->any)
        return status;
    status = wp_person_email(sql, person, address, sizeof address);
    if (!status)
        status = read_key(sql, key);
    if (status && status != WP_NOT_FOUND)
        return status;
    if (!status)
        wp_mail_digest(key, address, now);
    /* Another address is another mailbox. */
    if (status || strcmp(now, digest) != 0)
        memset(returned, 0, sizeof *returned);
    return WP_OK;
}

/* ---- the deliveries ---- */

struct gone {
    int64_t delivery;
    int64_t person;
    char digest[WP_DIGEST_TEXT];
};

/* Those that went with this mail and count as mailed. */
static enum wp_status read_gone(struct wp_txn *txn, int64_t mail, struct gone *gone, size_t *count)
{
    struct wp_rows rows;
    *count = 0;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows,
                     "SELECT id, person_id, mailed_to FROM delivery WHERE mail_id = ?"
                     " AND mail_id <> 0 AND kind = 'mail' AND state = 'done' ORDER BY id LIMIT ?",
                     "ii", mail, (int64_t)WP_POST_SHEETS);
    if (status)
        return status;
    while (*count < WP_POST_SHEETS && wp_rows_next(&rows)) {
        struct gone *one = &gone[(*count)++];
        one->delivery = wp_rows_int(&rows, 0);
        one->person = wp_rows_int(&rows, 1);
        wp_text_copy(one->digest, sizeof one->digest, wp_rows_text(&rows, 2));
    }
    return wp_rows_end(&rows);
}

static enum wp_status move(struct wp_txn *txn, const struct wp_report *report,
                           const struct gone *gone, const char *meaning)
{
    char reason[220];
    bool failed = report->action == WP_REPORT_FAILED;
    snprintf(reason, sizeof reason,
             failed ? "The mail came back: %s"
                    : "The mail is late, the mail server still tries: %s",
             meaning);
    struct wp_move move = {.delivery = gone->delivery,
                           .to = failed ? WP_DELIVERY_FAILED : WP_DELIVERY_DONE,
                           .reason = reason,
                           .actor = WP_ACTOR_SYSTEM};
    return wp_delivery_move(txn, &move);
}

static void say_meaning(const struct wp_report *report, char *text, size_t room)
{
    const char *meaning = wp_report_meaning(report);
    if (report->code[0] != '\0')
        snprintf(text, room, "%s (%s)", meaning, report->code);
    else
        snprintf(text, room, "%s", meaning);
}

static enum wp_status apply_to(struct wp_txn *txn, const struct wp_report *report, int64_t mail)
{
    struct gone gone[WP_POST_SHEETS];
    char meaning[160];
    size_t count;
    enum wp_status status = read_gone(txn, mail, gone, &count);
    say_meaning(report, meaning, sizeof meaning);
    for (size_t i = 0; i < count && !status; i++)
        status = move(txn, report, &gone[i], meaning);
    if (status || count == 0 || report->action != WP_REPORT_FAILED)
        return status;
    return wp_returned_note(txn, gone[0].person, gone[0].digest, wp_reply_is_final(report->code),
                            meaning);
}

enum wp_status wp_returned_apply(struct wp_txn *txn, const struct wp_report *report, bool *ours)
{
    unsigned char key[WP_HASH_SIZE];
    int64_t mail = 0;
    *ours = false;
    enum wp_status status = wp_mail_key(txn, key);
    for (size_t i = 0; i < report->mark_count && !status && !*ours; i++)
        *ours = wp_mail_mark_check(key, report->marks[i], &mail);
    if (status || !*ours || report->action == WP_REPORT_NOTHING)
        return status;
    return apply_to(txn, report, mail);
}
