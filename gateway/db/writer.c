#include "base/log.h"
#include "parts.h"

/* Takes what has queued, up to the bound. 0: the lane is empty, and stopping or with something else
 * to do. */
static size_t take_group(struct wp_db *db, struct db_item **group, size_t held)
{
    size_t count = held;
    (void)pthread_mutex_lock(&db->mutex);
    while (!count && !db->writes.waiting.first && !db->stopping && !db->scrub_asked)
        (void)pthread_cond_wait(&db->writes.work_there, &db->mutex);
    while (count < DB_GROUP_JOBS && db->writes.waiting.first) {
        group[count++] = db_list_take(&db->writes.waiting);
        db->writes.count--;
    }
    bool dead = db->broken;
    (void)pthread_mutex_unlock(&db->mutex);
    for (size_t i = 0; i < count && dead; i++) {
        group[i]->status = WP_BROKEN;
        group[i]->settled = true;
    }
    return count;
}

/* Answers what is settled; what is left moves to the front and its number is returned. */
static size_t answer(struct wp_db *db, struct db_item **group, size_t count)
{
    size_t left = 0;
    (void)pthread_mutex_lock(&db->mutex);
    db->committed = true;
    for (size_t i = 0; i < count; i++) {
        if (group[i]->settled)
            db_finish(db, group[i]);
        else
            group[left++] = group[i];
    }
    (void)pthread_mutex_unlock(&db->mutex);
    atomic_fetch_add(&db->jobs, count - left);
    (void)uv_async_send(&db->wake);
    return left;
}

void *db_writer(void *arg)
{
    struct wp_db *db = arg;
    (void)pthread_setname_np(pthread_self(), "db-writer");
    struct db_item *group[DB_GROUP_JOBS];
    size_t held = 0;
    size_t count;
    while ((count = take_group(db, group, held)) || db_scrub_if_asked(db)) {
        if (!count)
            continue;
        db_hold_writer(db);
        if (!group[0]->settled && db_run_group(db, group, count) == WP_BROKEN)
            db_break(db, "the write could not be made durable");
        held = answer(db, group, count);
        if (!held)
            (void)db_scrub_if_asked(db);
    }
    return NULL;
}
