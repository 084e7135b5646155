#include "acts/timetable_acts.h"

#include "base/bytes.h"

#include "db/event.h"
#include "people/persons.h"
#include "people/timetable.h"

static enum wp_status told(struct wp_txn *txn, const struct wp_ask *ask, const char *table,
                           int64_t id)
{
    enum wp_status status = wp_ask_record(
        txn, ask, "setting", table, id, ask->who->command_name[0] ? ask->who->command_name : NULL);
    return status ? status : wp_event_add(txn, "staff", 0, "{\"kind\":\"timetable\"}");
}

static void answer_number(cJSON **out, const char *name, int64_t number)
{
    if (!*out)
        *out = cJSON_CreateObject();
    cJSON_AddNumberToObject(*out, name, (double)number);
}

WP_ACT(wp_act_term_put)
{
    int64_t id = 0;
    enum wp_status status = wp_term_put(txn, ask, &id, error);
    if (status)
        return status;
    answer_number(out, "id", id);
    return told(txn, ask, "term", id);
}

WP_ACT(wp_act_term_remove)
{
    (void)out;
    int64_t id = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return wp_fail(error, WP_NOT_FOUND, "There is no such term.");
    enum wp_status status = wp_term_remove(txn, id, error);
    return status ? status : told(txn, ask, "term", id);
}

static enum wp_status answer_weekly(struct wp_txn *txn, const struct wp_ask *ask, int64_t id,
                                    cJSON **out)
{
    int64_t ahead = 0;
    enum wp_status status = wp_sql_int(
        txn->sql, &ahead, "SELECT count(*) FROM meeting WHERE weekly_id = ? AND starts_us > ?",
        "ii", id, txn->now);
    if (status)
        return status;
    answer_number(out, "id", id);
    answer_number(out, "meetings", ahead);
    return told(txn, ask, "weekly", id);
}

WP_ACT(wp_act_weekly_add)
{
    int64_t id = 0;
    enum wp_status status = wp_weekly_add(txn, ask, &id, error);
    return status ? status : answer_weekly(txn, ask, id, out);
}

WP_ACT(wp_act_weekly_change)
{
    int64_t id = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return wp_fail(error, WP_NOT_FOUND, "There is no such weekly meeting.");
    enum wp_status status = wp_weekly_change(txn, ask, id, error);
    return status ? status : answer_weekly(txn, ask, id, out);
}

WP_ACT(wp_act_weekly_end)
{
    (void)out;
    int64_t id = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return wp_fail(error, WP_NOT_FOUND, "There is no such weekly meeting.");
    enum wp_status status = wp_weekly_end(txn, id, error);
    return status ? status : told(txn, ask, "weekly", id);
}

WP_ACT(wp_act_weekly_except)
{
    int64_t changed = 0;
    enum wp_status status = wp_weekly_except(txn, ask, &changed, error);
    if (status)
        return status;
    answer_number(out, "changed", changed);
    return told(txn, ask, "weekly", 0);
}

/* Two instants, or a local day with two times of day. */
static enum wp_status ask_span(const struct wp_ask *ask, struct wp_span *span,
                               struct wp_error *error)
{
    const char *from = wp_ask_text(ask, "starts"), *to = wp_ask_text(ask, "ends");
    const char *on = wp_ask_text(ask, "day");
    int day = 0, starts = 0, ends = 0;
    if (on && wp_day_parse(on, &day) && wp_minute_parse(from, &starts) &&
        wp_minute_parse(to, &ends)) {
        if (ends <= starts)
            return wp_fail(error, WP_INVALID, "The meeting ends before it starts.");
        *span = wp_day_span(day, starts, ends);
        return WP_OK;
    }
    if (!on && from && to && wp_clock_parse(from, &span->starts_us) &&
        wp_clock_parse(to, &span->ends_us))
        return WP_OK;
    return wp_fail(error, WP_INVALID,
                   "A meeting needs \"day\" with local \"starts\" and \"ends\" such as 14:00, or "
                   "instants such as 2026-03-02T14:00:00Z.");
}

WP_ACT(wp_act_meeting_add)
{
    int64_t section = 0, id = 0;
    struct wp_span span = {0};
    enum wp_status status = wp_section_named(txn->sql, ask, &section, error);
    if (!status)
        status = ask_span(ask, &span, error);
    if (!status && span.ends_us <= txn->now && span.ends_us > span.starts_us)
        return wp_fail(error, WP_INVALID, "This meeting would be over already: look at the day.");
    if (!status)
        status = wp_meeting_add(txn, section, span, wp_ask_text(ask, "place"), &id, error);
    if (status)
        return status;
    answer_number(out, "id", id);
    return told(txn, ask, "meeting", id);
}

WP_ACT(wp_act_meeting_remove)
{
    (void)out;
    int64_t id = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return wp_fail(error, WP_NOT_FOUND, "There is no such meeting.");
    enum wp_status status = wp_meeting_remove(txn, id, error);
    return status ? status : told(txn, ask, "meeting", id);
}

static enum wp_status find_person(struct wp_txn *txn, const struct wp_ask *ask, int64_t *person,
                                  struct wp_error *error)
{
    const char *login = wp_ask_text(ask, "login");
    enum wp_status status = wp_person_find(txn->sql, login ? login : "", person);
    return status == WP_NOT_FOUND
               ? wp_fail(error, status, "There is no person \"%.64s\".", login ? login : "")
               : status;
}

/* Their number in the section; NULL if they are not on its roster now. */
static enum wp_status number_now(struct wp_txn *txn, int64_t section, int64_t person,
                                 char number[128], struct wp_error *error)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(txn->sql, &rows,
                                         "SELECT number FROM enrolled WHERE section_id = ? AND "
                                         "person_id = ? AND to_us IS NULL",
                                         "ii", section, person);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found)
        wp_text_copy(number, 128, wp_rows_text(&rows, 0));
    status = wp_rows_end(&rows);
    return status || found
               ? status
               : wp_fail(error, WP_NOT_FOUND, "This person is not on the section's roster.");
}

static enum wp_status move(struct wp_txn *txn, const struct wp_ask *ask, int64_t from,
                           int64_t person, struct wp_error *error)
{
    int64_t to = 0;
    const char *code = wp_ask_text(ask, "move_to");
    enum wp_status status =
        wp_sql_int(txn->sql, &to,
                   "SELECT n.id FROM section s JOIN section n ON n.course_id = s.course_id WHERE "
                   "s.id = ? AND n.code = ? AND n.ended_us IS NULL",
                   "it", from, code);
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "There is no section \"%.64s\" in this course.", code);
    if (!status && to == from)
        return wp_fail(error, WP_INVALID, "They are in that section already.");
    if (!status)
        status = wp_enrolment_move(txn, from, to, person);
    return status;
}

WP_ACT(wp_act_enrol)
{
    int64_t section = 0, person = 0;
    char number[128] = "";
    const char *typed = wp_ask_text(ask, "number");
    bool left = wp_ask_flag(ask, "left"), moves = wp_ask_text(ask, "move_to") != NULL;
    enum wp_status status = wp_section_named(txn->sql, ask, &section, error);
    if (!status)
        status = find_person(txn, ask, &person, error);
    if (!status && typed && !wp_typed_ok(typed, 127, true))
        return wp_fail(error, WP_INVALID, "A number is at most 127 bytes of plain text.");
    if (!status && (left || moves))
        status = number_now(txn, section, person, number, error);
    if (!status && moves)
        status = move(txn, ask, section, person, error);
    else if (!status && left)
        status = wp_unenrol(txn, section, person);
    else if (!status)
        status = wp_enrol(txn, section, person, typed);
    if (status)
        return status;
    answer_number(out, "person", person);
    return told(txn, ask, "section", section);
}
