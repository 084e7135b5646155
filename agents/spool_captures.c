#include <stdio.h>
#include <string.h>

#include "platform.h"
#include "spool_parts.h"

#define LINES_KEPT INT64_C(100000)
#define PRUNE_EVERY 256
/* A capture is written twice, to the log and then to its place; and what is left over lets receipts
 * be kept, without which a full disk would never get emptier. */
#define DISK_SPARE INT64_C(8388608)
#define LOG_LARGE INT64_C(1048576)

static enum wp_status insert(struct wp_spool *spool, const struct wp_spool_capture *capture,
                             const void *bytes, const struct wp_seen_pair *pair)
{
    enum wp_status status = wp_sql_run(
        spool->sql,
        "INSERT INTO capture(number, state, backfill, folder, path, size, mtime_ns, ctime_ns,"
        " inode, captured_us, steady_us, boot_id, sha256) VALUES(?, 0, ?, ?, ?, ?, ?, ?, ?, ?, ?,"
        " ?, ?)",
        "iiibiiiiiitb", capture->number, (int64_t)capture->backfill, capture->folder, capture->path,
        strlen(capture->path), capture->size, capture->look.mtime_ns, capture->look.ctime_ns,
        (int64_t)capture->look.inode, capture->captured_us, capture->steady_us, capture->boot_id,
        (const void *)capture->sha256, sizeof capture->sha256);
    if (!status)
        status = wp_sql_run(spool->sql, "INSERT INTO body(number, bytes) VALUES(?, ?)", "ib",
                            capture->number, capture->size ? bytes : (const void *)"",
                            (size_t)capture->size);
    if (!status)
        status = wp_sql_run(spool->sql,
                            "INSERT INTO seen(folder, key, mark) VALUES(?, ?, ?)"
                            " ON CONFLICT(folder, key) DO UPDATE SET mark = excluded.mark",
                            "iii", capture->folder, (int64_t)pair->key, (int64_t)pair->mark);
    return status;
}

enum wp_status wp_spool_add(struct wp_spool *spool, struct wp_spool_capture *capture,
                            const void *bytes, const struct wp_seen_pair *pair)
{
    SPOOL_LOCKED(spool);
    enum wp_status status = WP_FULL;
    int64_t held = spool->waiting_bytes + spool->refused_bytes;
    long long disk = wp_platform_disk_free(spool->folder);
    bool room = disk < 0 || disk > capture->size * 2 + DISK_SPARE;
    if (room && held + capture->size <= spool->limit)
        status = spool_begin(spool);
    if (!status) {
        capture->number = spool->last_number + 1;
        status = spool_end(spool, insert(spool, capture, bytes, pair));
    }
    if (!status) {
        spool->last_number = capture->number;
        spool->last_us = capture->captured_us;
        spool->waiting++;
        spool->waiting_bytes += capture->size;
        spool->waiting_backfill += capture->backfill ? 1 : 0;
        /* A long log is put in its place while there is room for both. */
        if (capture->size >= LOG_LARGE)
            (void)wp_sql_script(spool->sql, "PRAGMA wal_checkpoint(TRUNCATE)");
    }
    SPOOL_DONE(spool);
    return status;
}

bool wp_spool_known(struct wp_spool *spool, const struct wp_spool_capture *capture)
{
    int64_t number = 0;
    SPOOL_LOCKED(spool);
    enum wp_status status =
        wp_sql_int(spool->sql, &number,
                   "SELECT number FROM capture WHERE mtime_ns = ? AND inode = ? AND folder = ?"
                   " AND size = ? AND sha256 = ? ORDER BY number DESC LIMIT 1",
                   "iiiib", capture->look.mtime_ns, (int64_t)capture->look.inode, capture->folder,
                   capture->size, (const void *)capture->sha256, sizeof capture->sha256);
    SPOOL_DONE(spool);
    return !status && number > 0;
}

static void read_text(struct wp_rows *rows, int column, char *out, size_t room)
{
    const char *text = wp_rows_text(rows, column);
    (void)snprintf(out, room, "%s", text ? text : "");
}

static void read_capture(struct wp_rows *rows, struct wp_spool_capture *capture)
{
    size_t size = 0;
    capture->number = wp_rows_int(rows, 0);
    capture->backfill = wp_rows_int(rows, 1) != 0;
    capture->folder = wp_rows_int(rows, 2);
    const void *path = wp_rows_blob(rows, 3, &size);
    if (size >= sizeof capture->path)
        size = sizeof capture->path - 1;
    if (size)
        memcpy(capture->path, path, size);
    capture->path[size] = '\0';
    capture->size = wp_rows_int(rows, 4);
    capture->look = (struct wp_look){.size = capture->size, .mtime_ns = wp_rows_int(rows, 5)};
    capture->captured_us = wp_rows_int(rows, 6);
    capture->steady_us = wp_rows_int(rows, 7);
    read_text(rows, 8, capture->boot_id, sizeof capture->boot_id);
    const void *digest = wp_rows_blob(rows, 9, &size);
    if (size == sizeof capture->sha256)
        memcpy(capture->sha256, digest, size);
}

bool wp_spool_next_waiting(struct wp_spool *spool, struct wp_spool_capture *capture)
{
    struct wp_rows rows;
    bool found = false;
    SPOOL_LOCKED(spool);
    enum wp_status status = wp_sql_query(
        spool->sql, &rows,
        "SELECT number, backfill, folder, path, size, mtime_ns, captured_us, steady_us, boot_id,"
        " sha256 FROM capture WHERE state = 0 AND (backfill, number) > (?, ?)"
        " ORDER BY backfill, number LIMIT 1",
        "ii", (int64_t)capture->backfill, capture->number);
    if (!status) {
        found = wp_rows_next(&rows);
        if (found)
            read_capture(&rows, capture);
        (void)wp_rows_end(&rows);
    }
    SPOOL_DONE(spool);
    return found;
}

bool wp_spool_next_refused(struct wp_spool *spool, struct wp_spool_capture *capture, char *reason,
                           size_t room)
{
    struct wp_rows rows;
    bool found = false;
    SPOOL_LOCKED(spool);
    enum wp_status status = wp_sql_query(
        spool->sql, &rows,
        "SELECT number, backfill, folder, path, size, mtime_ns, captured_us, steady_us, boot_id,"
        " sha256, said FROM capture WHERE state = 2 AND number > ? ORDER BY number LIMIT 1",
        "i", capture->number);
    if (!status) {
        found = wp_rows_next(&rows);
        if (found) {
            read_capture(&rows, capture);
            read_text(&rows, 10, reason, room);
        }
        (void)wp_rows_end(&rows);
    }
    SPOOL_DONE(spool);
    return found;
}

enum wp_status wp_spool_bytes(struct wp_spool *spool, int64_t number, struct wp_bytes *bytes)
{
    struct wp_rows rows;
    SPOOL_LOCKED(spool);
    enum wp_status status =
        wp_sql_query(spool->sql, &rows, "SELECT bytes FROM body WHERE number = ?", "i", number);
    if (!status) {
        size_t size = 0;
        enum wp_status found = WP_NOT_FOUND;
        if (wp_rows_next(&rows)) {
            const void *data = wp_rows_blob(&rows, 0, &size);
            found = wp_bytes_add(bytes, data, size);
        }
        status = wp_rows_end(&rows);
        status = status ? status : found;
    }
    SPOOL_DONE(spool);
    return status;
}

/* Lines beyond the number kept go, and freed pages go back to the disk, a few at a time. */
static enum wp_status prune(struct wp_spool *spool)
{
    if (++spool->since_prune < PRUNE_EVERY && spool->waiting)
        return WP_OK;
    spool->since_prune = 0;
    enum wp_status status =
        wp_sql_run(spool->sql, "DELETE FROM capture WHERE state = 1 AND number <= ?", "i",
                   spool->last_number - LINES_KEPT);
    if (!status)
        status = wp_sql_script(spool->sql, "PRAGMA incremental_vacuum(1024)");
    return status;
}

static enum wp_status record(struct wp_spool *spool, int64_t number, const char *receipt,
                             int64_t ledger_number, const char *ledger_hash)
{
    enum wp_status status = wp_sql_run(
        spool->sql, "UPDATE capture SET state = 1, said = ? WHERE number = ? AND state = 0", "ti",
        receipt, number);
    if (!status && wp_sql_changes(spool->sql) == 0)
        return WP_NOT_FOUND;
    if (!status)
        status = wp_sql_run(spool->sql, "DELETE FROM body WHERE number = ?", "i", number);
    char text[96];
    (void)snprintf(text, sizeof text, "%lld %s", (long long)ledger_number, ledger_hash);
    if (!status)
        status = wp_sql_run(spool->sql,
                            "INSERT INTO setting(name, value) VALUES('ledger', ?)"
                            " ON CONFLICT(name) DO UPDATE SET value = excluded.value",
                            "t", text);
    return status;
}

/* Size and backfill of a waiting capture. */
static bool weigh(struct wp_spool *spool, int64_t number, int64_t *size, bool *backfill)
{
    struct wp_rows rows;
    bool found = false;
    if (wp_sql_query(spool->sql, &rows,
                     "SELECT size, backfill FROM capture WHERE number = ? AND state = 0", "i",
                     number))
        return false;
    found = wp_rows_next(&rows);
    if (found) {
        *size = wp_rows_int(&rows, 0);
        *backfill = wp_rows_int(&rows, 1) != 0;
    }
    (void)wp_rows_end(&rows);
    return found;
}

enum wp_status wp_spool_receipt(struct wp_spool *spool, int64_t number, const char *receipt,
                                int64_t ledger_number, const char *ledger_hash)
{
    int64_t size = 0;
    bool backfill = false;
    SPOOL_LOCKED(spool);
    enum wp_status status = weigh(spool, number, &size, &backfill) ? WP_OK : WP_NOT_FOUND;
    if (!status)
        status = wp_sql_script(spool->sql, "PRAGMA synchronous = NORMAL");
    if (!status)
        status = spool_begin(spool);
    if (!status)
        status = spool_end(spool, record(spool, number, receipt, ledger_number, ledger_hash));
    if (!status) {
        spool->waiting--;
        spool->waiting_bytes -= size;
        spool->waiting_backfill -= backfill ? 1 : 0;
        status = prune(spool);
    }
    enum wp_status again = wp_sql_script(spool->sql, "PRAGMA synchronous = FULL");
    SPOOL_DONE(spool);
    return status ? status : again;
}

/* More than a PC captures between two copies of its disk. */
#define NUMBERS_APART INT64_C(1000000)

enum wp_status wp_spool_renumber(struct wp_spool *spool, int64_t number)
{
    int64_t size = 0;
    bool backfill = false;
    SPOOL_LOCKED(spool);
    int64_t anew = (spool->last_number / NUMBERS_APART + 1) * NUMBERS_APART + 1;
    enum wp_status status = weigh(spool, number, &size, &backfill) ? WP_OK : WP_NOT_FOUND;
    if (!status)
        status = spool_begin(spool);
    if (!status) {
        enum wp_status done = wp_sql_run(
            spool->sql, "UPDATE capture SET number = ? WHERE number = ?", "ii", anew, number);
        if (!done)
            done = wp_sql_run(spool->sql, "UPDATE body SET number = ? WHERE number = ?", "ii", anew,
                              number);
        status = spool_end(spool, done);
    }
    if (!status)
        spool->last_number = anew;
    SPOOL_DONE(spool);
    return status;
}

enum wp_status wp_spool_refuse(struct wp_spool *spool, int64_t number, const char *reason)
{
    int64_t size = 0;
    bool backfill = false;
    SPOOL_LOCKED(spool);
    enum wp_status status = weigh(spool, number, &size, &backfill) ? WP_OK : WP_NOT_FOUND;
    if (!status)
        status = wp_sql_run(spool->sql,
                            "UPDATE capture SET state = 2, said = ? WHERE number = ? AND state = 0",
                            "ti", reason, number);
    if (!status) {
        spool->waiting--;
        spool->waiting_bytes -= size;
        spool->waiting_backfill -= backfill ? 1 : 0;
        spool->refused++;
        spool->refused_bytes += size;
    }
    SPOOL_DONE(spool);
    return status;
}

enum wp_status wp_spool_forgive(struct wp_spool *spool)
{
    SPOOL_LOCKED(spool);
    enum wp_status status =
        wp_sql_run(spool->sql, "UPDATE capture SET state = 0, said = NULL WHERE state = 2", "");
    if (!status)
        status = spool_count(spool);
    SPOOL_DONE(spool);
    return status;
}
