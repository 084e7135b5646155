/* Ids rise with the clock, and the clock may go backward across a restart. So every transaction
 * leaves a mark that no id on disk exceeds, and the next start makes ids above it. The mark runs a
 * little ahead, so that it is written once a margin and not once a commit. */
#include "base/clock.h"
#include "base/id.h"
#include "parts.h"

#define MARGIN_US (2 * WP_SECOND)

static int64_t margin(void)
{
    /* The difference of two instants is a difference of ids. */
    int64_t now = wp_clock_utc();
    int64_t ids = wp_id_at(now) - wp_id_at(now - MARGIN_US);
    return ids > 0 ? ids : 4096;
}

static enum wp_status store(struct wp_db *db, int64_t mark)
{
    return wp_sql_run(db->sql,
                      "INSERT INTO sequence (name, next) VALUES ('id', ?)"
                      " ON CONFLICT (name) DO UPDATE SET next = excluded.next",
                      "i", mark);
}

enum wp_status db_mark_load(struct wp_db *db)
{
    db->mark = 0;
    enum wp_status status =
        wp_sql_int(db->sql, &db->mark, "SELECT next FROM sequence WHERE name = 'id'", "");
    if (status == WP_NOT_FOUND)
        status = WP_OK;
    wp_id_seed(db->mark);
    return status;
}

enum wp_status db_mark_keep(struct wp_db *db)
{
    int64_t last = wp_id_last();
    if (last <= db->mark)
        return WP_OK;
    int64_t mark = last + margin();
    enum wp_status status = store(db, mark);
    if (!status)
        db->mark = mark;
    return status;
}

void db_mark_tidy(struct wp_db *db)
{
    if (db->mark > wp_id_last())
        (void)store(db, wp_id_last());
}
