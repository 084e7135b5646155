/* References in the database. Foreign keys hold while SQLite writes; this is for what happened to
 * the file by other means, and for the rules that a foreign key cannot say. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "verify.h"

/* Rows looked at in one query, so that no snapshot is held for long. */
#define SPAN 20000

/* `fault` selects the keys with the fault among keys above ?1 and up to ?2, in table `table`. */
struct link {
    const char *table;
    const char *next; /* selects the last key of the next span: after ?1, SPAN rows */
    const char *fault;
    bool digest; /* the key is a digest, not an id */
    const char *text;
};

#define BY_ID(name)                                                                                \
    .table = #name, .next = "SELECT max(k) FROM (SELECT id AS k FROM " #name                       \
                            " WHERE id > ?1 ORDER BY id LIMIT ?2)"
#define BY_DIGEST(name)                                                                            \
    .table = #name, .digest = true,                                                                \
    .next = "SELECT max(k) FROM (SELECT sha256 AS k FROM " #name                                   \
            " WHERE sha256 > ?1 ORDER BY sha256 LIMIT ?2)"
#define IN_SPAN(key) key " > ?1 AND " key " <= ?2"

static const struct link links[] = {
    {BY_DIGEST(object), .text = "no capture brought it",
     .fault = "SELECT o.sha256 FROM object o WHERE " IN_SPAN(
         "o.sha256") " AND NOT EXISTS (SELECT 1 FROM capture c WHERE c.sha256 = o.sha256)"},
    {BY_DIGEST(object), .text = "it is neither staged nor stored",
     .fault = "SELECT o.sha256 FROM object o WHERE " IN_SPAN(
         "o.sha256") " AND o.state NOT IN ('stored', 'removing', 'removed') AND NOT EXISTS"
                     " (SELECT 1 FROM staged s WHERE s.sha256 = o.sha256)"},
    {BY_DIGEST(object), .text = "it was removed, but a measurement has it",
     .fault = "SELECT o.sha256 FROM object o WHERE " IN_SPAN(
         "o.sha256") " AND o.state IN ('removing', 'removed') AND EXISTS"
                     " (SELECT 1 FROM rendition r WHERE r.sha256 = o.sha256)"},
    {BY_DIGEST(staged), .text = "staged bytes without an object",
     .fault = "SELECT s.sha256 FROM staged s WHERE " IN_SPAN(
         "s.sha256") " AND NOT EXISTS (SELECT 1 FROM object o WHERE o.sha256 = s.sha256)"},
    {BY_ID(capture), .text = "its object is missing",
     .fault = "SELECT c.id FROM capture c WHERE " IN_SPAN(
         "c.id") " AND NOT EXISTS (SELECT 1 FROM object o WHERE o.sha256 = c.sha256)"},
    {BY_ID(capture), .text = "the ledger does not hold what its receipt says",
     .fault = "SELECT c.id FROM capture c WHERE " IN_SPAN(
         "c.id") " AND NOT EXISTS (SELECT 1 FROM ledger l WHERE l.number = c.ledger_number"
                 " AND l.hash = c.ledger_hash)"},
    {BY_ID(measurement), .text = "its capture is missing",
     .fault = "SELECT m.id FROM measurement m WHERE " IN_SPAN(
         "m.id") " AND NOT EXISTS (SELECT 1 FROM capture c WHERE c.id = m.capture_id)"},
    {BY_ID(measurement), .text = "it has no rendition",
     .fault = "SELECT m.id FROM measurement m WHERE " IN_SPAN(
         "m.id") " AND NOT EXISTS (SELECT 1 FROM rendition r WHERE r.measurement_id = m.id)"},
    {BY_ID(measurement), .text = "its stamp is not its newest one",
     .fault = "SELECT m.id FROM measurement m WHERE " IN_SPAN(
         "m.id") " AND coalesce(m.stamp_id, 0) <> coalesce((SELECT s.id FROM stamp s"
                 " WHERE s.measurement_id = m.id ORDER BY s.revision DESC LIMIT 1), 0)"},
    {BY_ID(removal), .text = "the measurement that it removed is there",
     .fault = "SELECT v.id FROM removal v WHERE " IN_SPAN(
         "v.id") " AND v.kind = 'measurement' AND EXISTS (SELECT 1 FROM measurement m WHERE"
                 "  m.id = CAST(v.subject AS INTEGER))"},
    {BY_ID(rendition), .text = "its measurement is missing",
     .fault = "SELECT r.id FROM rendition r WHERE " IN_SPAN(
         "r.id") " AND NOT EXISTS (SELECT 1 FROM measurement m WHERE m.id = r.measurement_id)"},
    {BY_ID(rendition), .text = "it is not of the object that its capture brought",
     .fault = "SELECT r.id FROM rendition r WHERE " IN_SPAN(
         "r.id") " AND NOT EXISTS (SELECT 1 FROM capture c WHERE c.id = r.capture_id"
                 " AND c.sha256 = r.sha256)"},
    {BY_ID(stamp), .text = "its measurement is missing",
     .fault = "SELECT s.id FROM stamp s WHERE " IN_SPAN(
         "s.id") " AND NOT EXISTS (SELECT 1 FROM measurement m WHERE m.id = s.measurement_id)"},
    {BY_ID(stamp), .text = "a revision before it is missing",
     .fault = "SELECT s.id FROM stamp s WHERE " IN_SPAN(
         "s.id") " AND s.revision > 1 AND NOT EXISTS (SELECT 1 FROM stamp b"
                 " WHERE b.measurement_id = s.measurement_id AND b.revision = s.revision - 1)"},
    {BY_ID(measurement), .text = "the lists of its persons differ from its newest stamp",
     .fault = "SELECT m.id FROM measurement m WHERE " IN_SPAN(
         "m.id") " AND (EXISTS (SELECT 1 FROM stamp_person p WHERE p.stamp_id = m.stamp_id"
                 " AND NOT EXISTS (SELECT 1 FROM owned w WHERE w.measurement_id = m.id"
                 " AND w.person_id = p.person_id))"
                 " OR EXISTS (SELECT 1 FROM owned w WHERE w.measurement_id = m.id"
                 " AND NOT EXISTS (SELECT 1 FROM stamp_person p WHERE p.stamp_id = m.stamp_id"
                 " AND p.person_id = w.person_id)))"},
};

/* A key of either kind; the smallest of both comes before all others. */
struct key {
    int64_t id;
    unsigned char digest[WP_SHA256_SIZE];
    size_t size;
};

static void read_key(struct wp_rows *rows, bool digest, struct key *key)
{
    if (!digest) {
        key->id = wp_rows_int(rows, 0);
        return;
    }
    const void *data = wp_rows_blob(rows, 0, &key->size);
    if (key->size > WP_SHA256_SIZE)
        key->size = WP_SHA256_SIZE;
    if (data)
        memcpy(key->digest, data, key->size);
}

/* WP_NOT_FOUND: no rows after `from`. */
static enum wp_status next_span(struct verify *verify, const struct link *link,
                                const struct key *from, struct key *to)
{
    struct wp_rows rows;
    if (link->digest)
        (void)wp_sql_query(verify->sql, &rows, link->next, "bi", (const void *)from->digest,
                           from->size, (int64_t)SPAN);
    else
        (void)wp_sql_query(verify->sql, &rows, link->next, "ii", from->id, (int64_t)SPAN);
    bool found = wp_rows_next(&rows) && !wp_rows_null(&rows, 0);
    if (found)
        read_key(&rows, link->digest, to);
    enum wp_status status = wp_rows_end(&rows);
    return !status && !found ? WP_NOT_FOUND : status;
}

static void tell(struct verify *verify, const struct link *link, const struct key *key)
{
    char hex[WP_SHA256_HEX];
    wp_hex_encode(key->digest, key->size, hex);
    if (link->digest)
        verify_fault(verify, "object %s: %s", hex, link->text);
    else
        verify_fault(verify, "%s %" PRId64 ": %s", link->table, key->id, link->text);
}

static enum wp_status check_span(struct verify *verify, const struct link *link,
                                 const struct key *from, const struct key *to)
{
    struct wp_rows rows;
    if (link->digest)
        (void)wp_sql_query(verify->sql, &rows, link->fault, "bb", (const void *)from->digest,
                           from->size, (const void *)to->digest, to->size);
    else
        (void)wp_sql_query(verify->sql, &rows, link->fault, "ii", from->id, to->id);
    struct key key = {0};
    while (wp_rows_next(&rows)) {
        read_key(&rows, link->digest, &key);
        tell(verify, link, &key);
    }
    return wp_rows_end(&rows);
}

static enum wp_status check_link(struct verify *verify, const struct link *link)
{
    struct key from = {.id = INT64_MIN};
    struct key to = {0};
    enum wp_status status;
    while (!(status = next_span(verify, link, &from, &to))) {
        status = check_span(verify, link, &from, &to);
        if (status)
            return status;
        from = to;
    }
    return status == WP_NOT_FOUND ? WP_OK : status;
}

enum wp_status verify_links(struct verify *verify)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < sizeof links / sizeof links[0] && !status; i++)
        status = check_link(verify, &links[i]);
    return status;
}
