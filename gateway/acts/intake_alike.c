/* Is a new spectrum one that its instrument delivered before, in another form? */
#include <string.h>

#include "intake_parts.h"

/* Renditions of an instrument that a new one is compared with, newest first. */
#define COMPARED 50
/* Without a turn, exports of one measurement in two formats follow each other within this. */
#define SAME_EXPORT (2 * WP_MINUTE)

/* Prints that were read lately, a place for each by its rendition's id. A rendition's print never
 * changes and its id is never used again, so that one of a transaction undone can do no harm: no
 * query gives its id. Of the writer's thread alone. */
#define MEMO_PLACES 8192
static struct {
    int64_t rendition;
    struct wp_print print;
} memo[MEMO_PLACES];

static enum wp_status read_print(struct wp_sql *sql, int64_t rendition, struct wp_print *print)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT print FROM rendition WHERE id = ?", "i", rendition);
    if (status)
        return status;
    memset(print, 0, sizeof *print);
    if (wp_rows_next(&rows)) {
        size_t size = 0;
        const void *bytes = wp_rows_blob(&rows, 0, &size);
        if (size == sizeof print->bytes)
            memcpy(print->bytes, bytes, size);
    }
    return wp_rows_end(&rows);
}

/* A print of another size is left empty: it is alike to none. */
static enum wp_status print_of(struct wp_sql *sql, int64_t rendition, const struct wp_print **print)
{
    size_t place = (size_t)((uint64_t)rendition * UINT64_C(0x9E3779B97F4A7C15) >> 51);
    *print = &memo[place].print;
    if (memo[place].rendition == rendition)
        return WP_OK;
    memo[place].rendition = 0;
    enum wp_status status = read_print(sql, rendition, &memo[place].print);
    if (!status)
        memo[place].rendition = rendition;
    return status;
}

/* What the bench is asked about counts, where the other is stamped, for the turn that is suggested:
 * of two formats of one spectrum only one may tell its time. */
static bool may_merge(const struct wp_known *known, const struct wp_ruling *ruling,
                      int64_t captured, int64_t added)
{
    if (known->turn)
        return known->turn == (ruling->turn ? ruling->turn : ruling->suggestion);
    if (ruling->turn)
        return false;
    return captured - added < SAME_EXPORT && added - captured < SAME_EXPORT;
}

static enum wp_status note(struct wp_txn *txn, int64_t rendition, const struct wp_ruling *ruling,
                           struct wp_alike *alike)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows,
                     "SELECT m.id, m.turn_id, m.instrument_id, r.added_us FROM rendition r "
                     "JOIN measurement m ON m.id = r.measurement_id WHERE r.id = ?",
                     "i", rendition);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        struct wp_known known = {wp_rows_int(&rows, 0), wp_rows_int(&rows, 1),
                                 wp_rows_int(&rows, 2)};
        if (!alike->merge.measurement && may_merge(&known, ruling, txn->now, wp_rows_int(&rows, 3)))
            alike->merge = known;
        else if (!alike->other.measurement)
            alike->other = known;
    }
    return wp_rows_end(&rows);
}

static enum wp_status newest(struct wp_sql *sql, int64_t instrument, int64_t renditions[COMPARED],
                             size_t *count)
{
    struct wp_rows rows;
    *count = 0;
    enum wp_status status = wp_sql_query(sql, &rows,
                                         "SELECT id FROM rendition WHERE instrument_id = ? AND "
                                         "print IS NOT NULL ORDER BY measurement_id DESC LIMIT ?",
                                         "ii", instrument, (int64_t)COMPARED);
    if (status)
        return status;
    while (*count < COMPARED && wp_rows_next(&rows))
        renditions[(*count)++] = wp_rows_int(&rows, 0);
    return wp_rows_end(&rows);
}

enum wp_status wp_alike_find(struct wp_txn *txn, int64_t instrument, const struct wp_print *print,
                             const struct wp_ruling *ruling, struct wp_alike *alike)
{
    int64_t renditions[COMPARED];
    size_t count = 0;
    memset(alike, 0, sizeof *alike);
    enum wp_status status = newest(txn->sql, instrument, renditions, &count);
    for (size_t i = 0; !status && i < count; i++) {
        const struct wp_print *stored;
        status = print_of(txn->sql, renditions[i], &stored);
        if (!status && wp_print_compare(print, stored) == WP_ALIKE)
            status = note(txn, renditions[i], ruling, alike);
    }
    return status;
}
