#include <inttypes.h>
#include <string.h>

#include "entry.h"

#define PAGE 2000

static enum wp_status bad(struct wp_error *error, int64_t number, const char *why)
{
    return wp_fail_at(error, WP_INVALID, (long)number, 0, "ledger entry %" PRId64 " %s", number,
                      why);
}

/* Checks one row against the head before it and moves the head on. */
static enum wp_status check_row(struct wp_rows *rows, struct wp_ledger_head *head,
                                struct wp_error *error)
{
    int64_t number = head->number + 1;
    if (wp_rows_int(rows, 0) != number)
        return bad(error, number, "is missing");
    struct ledger_entry entry = {.number = number,
                                 .at_us = wp_rows_int(rows, 1),
                                 .actor = wp_rows_int(rows, 2),
                                 .actor_id = wp_rows_int(rows, 3),
                                 .verb = wp_rows_text(rows, 4),
                                 .subject = wp_rows_text(rows, 5)};
    entry.detail = wp_rows_blob(rows, 6, &entry.detail_size);
    size_t size;
    const void *hash = wp_rows_blob(rows, 7, &size);
    unsigned char wanted[WP_LEDGER_HASH];
    enum wp_status status = ledger_hash(head->hash, &entry, wanted);
    if (status == WP_NO_MEMORY)
        return status;
    if (status || size != WP_LEDGER_HASH || memcmp(hash, wanted, WP_LEDGER_HASH) != 0)
        return bad(error, number, "does not fit the chain");
    head->number = number;
    memcpy(head->hash, wanted, WP_LEDGER_HASH);
    return WP_OK;
}

/* Checks the next page; `*more` tells whether there was anything. */
static enum wp_status check_page(struct wp_sql *sql, struct wp_ledger_head *head, bool *more,
                                 struct wp_error *error)
{
    struct wp_rows rows;
    (void)wp_sql_query(sql, &rows,
                       "SELECT number, at_us, actor, actor_id, verb, subject, detail_digest, hash"
                       " FROM ledger WHERE number > ? ORDER BY number LIMIT ?",
                       "ii", head->number, (int64_t)PAGE);
    enum wp_status found = WP_OK;
    *more = false;
    while (!found && wp_rows_next(&rows)) {
        found = check_row(&rows, head, error);
        *more = true;
    }
    enum wp_status status = wp_rows_end(&rows);
    if (status)
        return wp_fail(error, status, "the ledger cannot be read: %s", wp_sql_message(sql));
    return found;
}

enum wp_status wp_ledger_check(struct wp_sql *sql, int64_t *entries, struct wp_error *error)
{
    struct wp_ledger_head head = {0};
    bool more = true;
    enum wp_status status = WP_OK;
    while (more && !status)
        status = check_page(sql, &head, &more, error);
    *entries = head.number;
    return status;
}

enum wp_status wp_ledger_witness(struct wp_sql *sql, const struct wp_ledger_head *head)
{
    if (head->number == 0)
        return WP_OK;
    int64_t there;
    enum wp_status status =
        wp_sql_int(sql, &there, "SELECT 1 FROM ledger WHERE number = ? AND hash = ?", "ib",
                   head->number, (const void *)head->hash, (size_t)WP_LEDGER_HASH);
    return status == WP_NOT_FOUND ? WP_INVALID : status;
}
