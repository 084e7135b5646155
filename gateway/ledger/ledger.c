#include "ledger/ledger.h"

#include <string.h>

#include "base/bytes.h"
#include "base/digest.h"
#include "base/secret.h"
#include "entry.h"

#define SALT_SIZE 32
#define VERB_MOST 32
#define SUBJECT_MOST 96
#define DETAIL_MOST 65536
#define ENTRY_MOST 512

static enum wp_status add_int(struct wp_bytes *bytes, int64_t value)
{
    unsigned char big[8];
    for (int i = 0; i < 8; i++)
        big[i] = (unsigned char)((uint64_t)value >> (56 - 8 * i));
    return wp_bytes_add(bytes, big, sizeof big);
}

static enum wp_status add_field(struct wp_bytes *bytes, const void *data, size_t size)
{
    enum wp_status status = add_int(bytes, (int64_t)size);
    return status ? status : wp_bytes_add(bytes, data, size);
}

static enum wp_status write_entry(struct wp_bytes *bytes,
                                  const unsigned char before[WP_LEDGER_HASH],
                                  const struct ledger_entry *entry)
{
    const int64_t numbers[] = {entry->number, entry->at_us, entry->actor, entry->actor_id};
    enum wp_status status = wp_bytes_add(bytes, before, WP_LEDGER_HASH);
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0] && !status; i++)
        status = add_int(bytes, numbers[i]);
    if (!status)
        status = add_field(bytes, entry->verb, strlen(entry->verb));
    if (!status)
        status = add_field(bytes, entry->subject, strlen(entry->subject));
    if (!status)
        status = add_field(bytes, entry->detail, entry->detail_size);
    return status;
}

enum wp_status ledger_hash(const unsigned char before[WP_LEDGER_HASH],
                           const struct ledger_entry *entry, unsigned char hash[WP_LEDGER_HASH])
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, ENTRY_MOST);
    enum wp_status status = write_entry(&bytes, before, entry);
    if (!status)
        status = wp_sha256(bytes.data, bytes.size, hash);
    wp_bytes_release(&bytes);
    return status;
}

static enum wp_status make_salt(struct wp_txn *txn, unsigned char salt[SALT_SIZE])
{
    char text[2 * SALT_SIZE + 1];
    wp_random(salt, SALT_SIZE);
    wp_hex_encode(salt, SALT_SIZE, text);
    return wp_sql_run(txn->sql,
                      "INSERT INTO setting (name, value, changed_us) VALUES ('ledger.salt', ?, ?)",
                      "ti", text, txn->now);
}

static enum wp_status read_salt(struct wp_txn *txn, unsigned char salt[SALT_SIZE])
{
    struct wp_rows rows;
    (void)wp_sql_query(txn->sql, &rows, "SELECT value FROM setting WHERE name = 'ledger.salt'", "");
    bool found = wp_rows_next(&rows);
    const char *text = found ? wp_rows_text(&rows, 0) : NULL;
    bool good = text && wp_hex_decode(text, salt, SALT_SIZE);
    enum wp_status status = wp_rows_end(&rows);
    if (status)
        return status;
    if (!found)
        return make_salt(txn, salt);
    return good ? WP_OK : WP_BROKEN;
}

static enum wp_status digest_detail(struct wp_txn *txn, const char *detail,
                                    unsigned char digest[WP_SHA256_SIZE])
{
    unsigned char salt[SALT_SIZE];
    enum wp_status status = read_salt(txn, salt);
    if (status)
        return status;
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, SALT_SIZE + DETAIL_MOST);
    status = wp_bytes_add(&bytes, salt, SALT_SIZE);
    if (!status)
        status = wp_bytes_add_text(&bytes, detail);
    if (!status)
        status = wp_sha256(bytes.data, bytes.size, digest);
    wp_bytes_release(&bytes);
    return status;
}

static bool fits(const char *text, size_t most)
{
    size_t size = strlen(text);
    return size > 0 && size <= most;
}

static enum wp_status store(struct wp_sql *sql, const struct ledger_entry *entry,
                            const unsigned char hash[WP_LEDGER_HASH])
{
    return wp_sql_run(sql,
                      "INSERT INTO ledger (number, at_us, actor, actor_id, verb, subject,"
                      " detail_digest, hash) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                      "iiiittbb", entry->number, entry->at_us, entry->actor, entry->actor_id,
                      entry->verb, entry->subject, entry->detail, entry->detail_size, hash,
                      (size_t)WP_LEDGER_HASH);
}

enum wp_status wp_ledger_add(struct wp_txn *txn, enum wp_actor actor, int64_t actor_id,
                             const char *verb, const char *subject, const char *detail,
                             struct wp_ledger_head *head)
{
    if (!fits(verb, VERB_MOST) || !fits(subject, SUBJECT_MOST))
        return WP_INVALID;
    struct wp_ledger_head last;
    unsigned char digest[WP_SHA256_SIZE];
    enum wp_status status = wp_ledger_read_head(txn->sql, &last);
    if (!status && detail)
        status = digest_detail(txn, detail, digest);
    if (status)
        return status;
    struct ledger_entry entry = {.number = last.number + 1,
                                 .at_us = txn->now,
                                 .actor = actor,
                                 .actor_id = actor_id,
                                 .verb = verb,
                                 .subject = subject,
                                 .detail = detail ? digest : NULL,
                                 .detail_size = detail ? sizeof digest : 0};
    struct wp_ledger_head next = {.number = entry.number};
    status = ledger_hash(last.hash, &entry, next.hash);
    if (!status)
        status = store(txn->sql, &entry, next.hash);
    if (!status && head)
        *head = next;
    return status;
}

enum wp_status wp_ledger_read_head(struct wp_sql *sql, struct wp_ledger_head *head)
{
    *head = (struct wp_ledger_head){0};
    struct wp_rows rows;
    (void)wp_sql_query(sql, &rows, "SELECT number, hash FROM ledger ORDER BY number DESC LIMIT 1",
                       "");
    bool whole = true;
    if (wp_rows_next(&rows)) {
        size_t size;
        const void *hash = wp_rows_blob(&rows, 1, &size);
        head->number = wp_rows_int(&rows, 0);
        whole = size == WP_LEDGER_HASH;
        if (whole)
            memcpy(head->hash, hash, WP_LEDGER_HASH);
    }
    enum wp_status status = wp_rows_end(&rows);
    return !status && !whole ? WP_BROKEN : status;
}
