#include "verify.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "archive/object.h"
#include "ledger/ledger.h"

#define PAGE 256
/* Unknown files remembered for a second look. */
#define UNKNOWN_MOST 10000
#define LINE_ROOM 512

void verify_fault(struct verify *verify, const char *format, ...)
{
    char text[LINE_ROOM];
    char line[LINE_ROOM];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    wp_text_clean(text, length < 0 ? 0 : strlen(text), line, sizeof line);
    verify->counts->faults++;
    verify->watch->fault(verify->watch->arg, line);
}

/* WP_OK: it was taken out on purpose, or is about to be. WP_NOT_FOUND: it was not. */
static enum wp_status is_removed(struct verify *verify, const unsigned char *digest)
{
    int64_t one;
    return wp_sql_int(verify->sql, &one,
                      "SELECT 1 FROM object WHERE sha256 = ? AND state IN ('removing', 'removed')",
                      "b", (const void *)digest, (size_t)WP_SHA256_SIZE);
}

/* Of a removed object nothing may be left. */
static enum wp_status check_removed(struct verify *verify, const unsigned char *digest)
{
    char hex[WP_SHA256_HEX];
    wp_hex_encode(digest, WP_SHA256_SIZE, hex);
    if (verify->store->ops->has(verify->store, digest))
        verify_fault(verify, "object %s: it was removed, but its file is there", hex);
    verify->counts->removed++;
    return WP_OK;
}

static enum wp_status check_object(struct verify *verify,
                                   const unsigned char digest[WP_SHA256_SIZE])
{
    char hex[WP_SHA256_HEX];
    wp_hex_encode(digest, WP_SHA256_SIZE, hex);
    enum wp_status status = wp_object_check(verify->sql, verify->store, digest);
    switch (status) {
    case WP_OK:
        return WP_OK;
    case WP_NOT_FOUND:
        /* It may have been removed on purpose since its page was read. */
        status = is_removed(verify, digest);
        if (status != WP_NOT_FOUND)
            return status;
        verify_fault(verify, "object %s: its bytes are gone", hex);
        return WP_OK;
    case WP_INVALID:
        verify_fault(verify, "object %s: its bytes are not those of its digest", hex);
        return WP_OK;
    case WP_IO:
        verify_fault(verify, "object %s: its bytes cannot be read", hex);
        return WP_OK;
    default:
        return status;
    }
}

struct page {
    unsigned char digests[PAGE][WP_SHA256_SIZE];
    bool removed[PAGE]; /* its file is said to be gone */
    size_t count;
};

/* The next digests after `last`; a digest of another size is a fault of its own. */
static enum wp_status read_page(struct verify *verify, const unsigned char *last, size_t last_size,
                                struct page *page)
{
    struct wp_rows rows;
    (void)wp_sql_query(verify->sql, &rows,
                       "SELECT sha256, state = 'removed' FROM object WHERE sha256 > ? "
                       "ORDER BY sha256 LIMIT ?",
                       "bi", (const void *)last, last_size, (int64_t)PAGE);
    page->count = 0;
    while (wp_rows_next(&rows)) {
        size_t size;
        const void *digest = wp_rows_blob(&rows, 0, &size);
        if (size != WP_SHA256_SIZE) {
            verify_fault(verify, "an object's digest has %zu bytes", size);
            continue;
        }
        page->removed[page->count] = wp_rows_int(&rows, 1) != 0;
        memcpy(page->digests[page->count++], digest, size);
    }
    return wp_rows_end(&rows);
}

static enum wp_status check_objects(struct verify *verify)
{
    struct page page;
    unsigned char last[WP_SHA256_SIZE] = {0};
    size_t last_size = 0; /* the empty digest comes before all */
    int64_t done = 0;
    enum wp_status status = read_page(verify, last, last_size, &page);
    while (!status && page.count) {
        for (size_t i = 0; i < page.count && !status; i++)
            status = page.removed[i] ? check_removed(verify, page.digests[i])
                                     : check_object(verify, page.digests[i]);
        done += (int64_t)page.count;
        if (verify->watch->progress)
            verify->watch->progress(verify->watch->arg, done, verify->counts->objects);
        memcpy(last, page.digests[page.count - 1], sizeof last);
        last_size = sizeof last;
        if (!status)
            status = read_page(verify, last, last_size, &page);
    }
    return status;
}

static enum wp_status check_ledger(struct verify *verify)
{
    struct wp_error found = {0};
    int64_t entries = 0;
    enum wp_status status = wp_ledger_check(verify->sql, &entries, &found);
    if (status != WP_INVALID)
        return status;
    verify_fault(verify, "%s", found.text);
    return WP_OK;
}

/* What each agent last saw of the ledger must still be in it. */
static enum wp_status check_witnesses(struct verify *verify)
{
    struct wp_rows rows;
    (void)wp_sql_query(verify->sql, &rows,
                       "SELECT a.id, a.ledger_number FROM agent a WHERE a.ledger_number > 0"
                       " AND NOT EXISTS (SELECT 1 FROM ledger l WHERE l.number = a.ledger_number"
                       " AND l.hash = a.ledger_hash) ORDER BY a.id",
                       "");
    while (wp_rows_next(&rows))
        verify_fault(verify,
                     "agent %" PRId64 ": the ledger does not hold entry %" PRId64
                     " as this agent saw it",
                     wp_rows_int(&rows, 0), wp_rows_int(&rows, 1));
    return wp_rows_end(&rows);
}

struct strays {
    struct verify *verify;
    struct wp_bytes digests;
    enum wp_status status;
};

static enum wp_status is_known(struct verify *verify, const unsigned char *digest)
{
    int64_t there;
    return wp_sql_int(verify->sql, &there, "SELECT 1 FROM object WHERE sha256 = ?", "b",
                      (const void *)digest, (size_t)WP_SHA256_SIZE);
}

static bool see_file(void *arg, const unsigned char digest[WP_SHA256_SIZE])
{
    struct strays *strays = arg;
    enum wp_status status = is_known(strays->verify, digest);
    if (status == WP_NOT_FOUND)
        status = wp_bytes_add(&strays->digests, digest, WP_SHA256_SIZE);
    strays->status = status;
    return status == WP_OK;
}

/* A file stands in the store for a moment before the commit that names it, so whatever was unknown
 * is looked up once more a little later. */
static enum wp_status look_again(struct strays *strays)
{
    if (strays->digests.size)
        (void)nanosleep(&(struct timespec){.tv_nsec = 300000000}, NULL);
    for (size_t at = 0; at < strays->digests.size; at += WP_SHA256_SIZE) {
        const unsigned char *digest = (const unsigned char *)strays->digests.data + at;
        enum wp_status status = is_known(strays->verify, digest);
        if (status == WP_NOT_FOUND) {
            char hex[WP_SHA256_HEX];
            wp_hex_encode(digest, WP_SHA256_SIZE, hex);
            verify_fault(strays->verify, "stored file %s: no record names it", hex);
        } else if (status) {
            return status;
        }
    }
    return WP_OK;
}

static enum wp_status check_files(struct verify *verify, struct wp_error *error)
{
    struct strays strays = {.verify = verify};
    wp_bytes_init(&strays.digests, (size_t)UNKNOWN_MOST * WP_SHA256_SIZE);
    enum wp_status status = verify->store->ops->walk(verify->store, see_file, &strays);
    if (status)
        (void)wp_fail(error, status, "the object store cannot be listed");
    else
        status = strays.status == WP_TOO_LARGE ? WP_OK : strays.status;
    if (!status)
        status = look_again(&strays);
    if (strays.status == WP_TOO_LARGE)
        verify_fault(verify, "more than %d stored files have no record", UNKNOWN_MOST);
    wp_bytes_release(&strays.digests);
    return status;
}

static enum wp_status count_rows(struct verify *verify)
{
    enum wp_status status =
        wp_sql_int(verify->sql, &verify->counts->objects, "SELECT count(*) FROM object", "");
    if (!status)
        status = wp_sql_int(verify->sql, &verify->counts->measurements,
                            "SELECT count(*) FROM measurement", "");
    return status;
}

enum wp_status wp_verify(struct wp_sql *sql, struct wp_store *store,
                         const struct wp_verify_watch *watch, struct wp_verify_counts *counts,
                         struct wp_error *error)
{
    struct wp_error local = {0};
    struct verify verify = {.sql = sql, .store = store, .watch = watch, .counts = counts};
    *counts = (struct wp_verify_counts){0};
    enum wp_status status = count_rows(&verify);
    if (!status)
        status = verify_links(&verify);
    if (!status)
        status = check_ledger(&verify);
    if (!status)
        status = check_witnesses(&verify);
    if (!status)
        status = check_files(&verify, &local);
    if (!status)
        status = check_objects(&verify);
    if (!status)
        return WP_OK;
    return wp_fail(error, status, "the check could not be finished: %s",
                   local.text[0] ? local.text : wp_sql_message(sql));
}
