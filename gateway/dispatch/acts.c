/* What acts and views share. */
#include "acts.h"

#include "ledger/ledger.h"

bool wp_is_staff(const struct wp_who *who)
{
    return (who->roles & (WP_ROLE_DEMONSTRATOR | WP_ROLE_INSTRUCTOR | WP_ROLE_TECHNICIAN |
                          WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)) != 0;
}

bool wp_is_site_staff(const struct wp_who *who)
{
    return (who->roles & (WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)) != 0;
}

enum wp_status wp_ask_id(const struct wp_ask *ask, int64_t *id, struct wp_error *error)
{
    if (wp_ask_param_int(ask, 0, id))
        return WP_OK;
    return wp_fail(error, WP_INVALID, "The id is not a whole number.");
}

static bool may(const struct wp_who *who, int64_t person, int64_t instrument, bool section)
{
    if (wp_is_staff(who) && section)
        return true;
    if (who->actor == WP_ACTOR_PERSON)
        return who->id != 0 && who->id == person;
    return who->actor == WP_ACTOR_BENCH && who->instrument != 0 && who->instrument == instrument;
}

enum wp_status wp_delivery_allowed(struct wp_sql *sql, const struct wp_ask *ask, int64_t id,
                                   enum wp_delivery_state *state, struct wp_error *error)
{
    struct wp_rows rows;
    enum wp_delivery_state found_state;
    bool allowed = false;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT person_id, instrument_id, state, ?2 OR " WP_DELIVERY_IS_THEIRS
                     " FROM delivery WHERE id = ?1",
                     "iii", id, (int64_t)wp_is_site_staff(ask->who), ask->who->id);
    if (status)
        return status;
    if (wp_rows_next(&rows) && wp_delivery_state_read(wp_rows_text(&rows, 2), &found_state))
        allowed =
            may(ask->who, wp_rows_int(&rows, 0), wp_rows_int(&rows, 1), wp_rows_int(&rows, 3) != 0);
    status = wp_rows_end(&rows);
    if (status)
        return status;
    if (!allowed)
        return wp_fail(error, WP_NOT_FOUND, "There is no such delivery.");
    if (state != NULL)
        *state = found_state;
    return WP_OK;
}
