/* Deliveries of what is removed. */
#include <string.h>

#include "delivery.h"

#define ROUND_MOST 64

struct live {
    int64_t id;
    enum wp_delivery_state state;
    bool mail;
};

/* Deliveries under way that nobody has asked back yet. */
static enum wp_status read_live(struct wp_txn *txn, int64_t measurement, int64_t person,
                                struct live live[ROUND_MOST], size_t *count)
{
    struct wp_rows rows;
    *count = 0;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows,
        "SELECT id, state, kind = 'mail' FROM delivery WHERE state IN ('waiting', 'sending', "
        "'printing', 'asking', 'uncertain') AND withdraw = 0 AND ((?1 <> 0 AND measurement_id = "
        "?1) OR (?1 = 0 AND person_id = ?2)) ORDER BY id LIMIT ?3",
        "iii", measurement, person, (int64_t)ROUND_MOST);
    if (status)
        return status;
    while (*count < ROUND_MOST && wp_rows_next(&rows)) {
        struct live *one = &live[*count];
        one->id = wp_rows_int(&rows, 0);
        one->mail = wp_rows_int(&rows, 2) != 0;
        *count += wp_delivery_state_read(wp_rows_text(&rows, 1), &one->state);
    }
    return wp_rows_end(&rows);
}

/* What a printer has is asked back; the rest ends here. */
static enum wp_status take_back(struct wp_txn *txn, const struct live *live, const char *reason)
{
    bool there = live->state == WP_DELIVERY_SENDING || live->state == WP_DELIVERY_PRINTING ||
                 live->state == WP_DELIVERY_UNCERTAIN;
    struct wp_move move = {.delivery = live->id,
                           .to = WP_DELIVERY_CANCELLED,
                           .reason = reason,
                           .actor = WP_ACTOR_SYSTEM};
    if (there)
        return wp_sql_run(txn->sql, "UPDATE delivery SET withdraw = 1 WHERE id = ?", "i", live->id);
    return wp_delivery_move(txn, &move);
}

/* How they want their mail, that it came back, and to which address it went. */
static enum wp_status forget_mail(struct wp_txn *txn, int64_t person)
{
    static const char *const steps[] = {
        "DELETE FROM mail_choice WHERE person_id = ?",
        "DELETE FROM mail_returned WHERE person_id = ?",
        "UPDATE delivery SET mailed_to = '' WHERE person_id = ? AND mailed_to <> ''",
    };
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < sizeof steps / sizeof steps[0]; i++)
        status = wp_sql_run(txn->sql, steps[i], "i", person);
    return status;
}

enum wp_status wp_delivery_forget(struct wp_txn *txn, int64_t measurement, int64_t person,
                                  const char *reason)
{
    struct live live[ROUND_MOST];
    size_t count = 0;
    enum wp_status status;
    /* Each round takes what it read off the list. */
    do {
        status = read_live(txn, measurement, person, live, &count);
        for (size_t i = 0; !status && i < count; i++)
            status = take_back(txn, &live[i], reason);
    } while (!status && count);
    return status || measurement ? status : forget_mail(txn, person);
}
