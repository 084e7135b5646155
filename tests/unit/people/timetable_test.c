/* Weekly meetings, terms and their ends, on a real database in a folder of its own. The year 2099
 * is ahead of whoever runs this; its changes of summer time follow the rule of the European Union
 * (directive 2000/84/EC): the last Sundays of March and October at 01:00 UTC. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "base/secret.h"
#include "db/db.h"
#include "people/persons.h"
#include "people/timetable.h"

static char folder[64];
static struct wp_db *db;

static int start(void **state)
{
    (void)state;
    struct wp_error error = {0};
    (void)strcpy(folder, "/tmp/wavepost-timetable-XXXXXX");
    if (setenv("TZ", "Europe/Vienna", 1) || wp_secret_init() || !mkdtemp(folder))
        return -1;
    tzset();
    struct wp_db_options options = {.folder = folder};
    return (int)wp_db_open(&options, &db, &error);
}

static int stop(void **state)
{
    (void)state;
    char command[96];
    wp_db_close(db);
    (void)snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command); /* NOLINT(cert-env33-c): a folder this test made */
}

struct job {
    enum wp_status (*fn)(struct wp_txn *, const struct wp_ask *, int64_t *, struct wp_error *);
    struct wp_ask ask;
    int64_t id;
    int64_t now; /* 0: the clock's */
    struct wp_error error;
};

static enum wp_status run(struct wp_txn *txn, void *arg)
{
    struct job *job = arg;
    if (job->now)
        txn->now = job->now;
    return job->fn(txn, &job->ask, &job->id, &job->error);
}

/* Runs it with a body of JSON; `id` gets what it answers, `text` (may be NULL) its words. */
static enum wp_status at(int64_t now,
                         enum wp_status (*fn)(struct wp_txn *, const struct wp_ask *, int64_t *,
                                              struct wp_error *),
                         const char *body, int64_t *id, char text[WP_ERROR_TEXT])
{
    static const struct wp_who who = {.actor = WP_ACTOR_COMMAND, .roles = WP_ROLE_COMMAND};
    cJSON *json = cJSON_Parse(body), *none = cJSON_CreateObject();
    assert_non_null(json);
    struct job job = {.fn = fn, .ask = {.who = &who, .query = none, .body = json}, .now = now};
    if (id)
        job.id = *id;
    enum wp_status status = wp_db_write_now(db, run, &job);
    cJSON_Delete(json);
    cJSON_Delete(none);
    if (id)
        *id = job.id;
    if (text)
        (void)snprintf(text, WP_ERROR_TEXT, "%s", job.error.text);
    return status;
}

static void done(enum wp_status (*fn)(struct wp_txn *, const struct wp_ask *, int64_t *,
                                      struct wp_error *),
                 const char *body, int64_t *id)
{
    char text[WP_ERROR_TEXT];
    enum wp_status status = at(0, fn, body, id, text);
    if (status)
        fail_msg("%s: %s", body, text);
}

static void refused(enum wp_status expected,
                    enum wp_status (*fn)(struct wp_txn *, const struct wp_ask *, int64_t *,
                                         struct wp_error *),
                    const char *body, const char *words)
{
    char text[WP_ERROR_TEXT];
    int64_t id = 0;
    assert_int_equal(at(0, fn, body, &id, text), expected);
    if (!strstr(text, words))
        fail_msg("\"%s\" does not say \"%s\"", text, words);
}

/* `id` is the weekly meeting. */
static enum wp_status change(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                             struct wp_error *error)
{
    return wp_weekly_change(txn, ask, *id, error);
}

static enum wp_status end(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                          struct wp_error *error)
{
    (void)ask;
    return wp_weekly_end(txn, *id, error);
}

static enum wp_status end_terms(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                                struct wp_error *error)
{
    (void)ask;
    (void)error;
    return wp_terms_end(txn, id);
}

static enum wp_status remove_term(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                                  struct wp_error *error)
{
    (void)ask;
    return wp_term_remove(txn, *id, error);
}

struct listed {
    const char *section;
    int count;
    char first[WP_ISO_ROOM], last[WP_ISO_ROOM], all[4096];
    int64_t ended;
};

static enum wp_status list(struct wp_sql *sql, void *arg)
{
    struct listed *listed = arg;
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT m.starts_us, m.ends_us, m.place FROM meeting m JOIN section s ON s.id = "
        "m.section_id WHERE s.code = ? ORDER BY m.starts_us",
        "t", listed->section);
    if (status)
        return status;
    while (wp_rows_next(&rows)) {
        char text[WP_ISO_ROOM];
        size_t used = strlen(listed->all);
        wp_clock_local(wp_rows_int(&rows, 0), text);
        if (!listed->count++)
            (void)strcpy(listed->first, text);
        (void)strcpy(listed->last, text);
        (void)snprintf(listed->all + used, sizeof listed->all - used, "%s+%d%s%s;", text,
                       (int)((wp_rows_int(&rows, 1) - wp_rows_int(&rows, 0)) / WP_MINUTE),
                       wp_rows_text(&rows, 2)[0] ? "@" : "", wp_rows_text(&rows, 2));
    }
    status = wp_rows_end(&rows);
    return status ? status
                  : wp_sql_int(sql, &listed->ended,
                               "SELECT coalesce(ended_us, 0) FROM section WHERE code = ?", "t",
                               listed->section);
}

static struct listed meetings(const char *section)
{
    struct listed listed = {.section = section};
    assert_int_equal(wp_db_read_now(db, list, &listed), WP_OK);
    return listed;
}

static int64_t utc(const char *text)
{
    int64_t at_us = 0;
    assert_true(wp_clock_parse(text, &at_us));
    return at_us;
}

/* ---- days and times of day ---- */

static void days_weekdays_and_minutes_are_read_as_typed(void **state)
{
    (void)state;
    int day = 0, minute = 0, weekday = 0;
    char text[WP_DAY_ROOM];
    assert_true(wp_day_parse("2026-03-02", &day));
    assert_int_equal(day, 20260302);
    assert_int_equal(wp_day_weekday(day), 1); /* a Monday: ISO 8601 week 10 of 2026 begins then */
    assert_int_equal(wp_day_add(20281231, 60), 20290301);
    assert_int_equal(wp_day_add(20280101, 59), 20280229);
    assert_int_equal(wp_days_between(20270301, 20280301), 366);
    wp_day_text(20260302, text);
    assert_string_equal(text, "2026-03-02");
    static const char *const bad_days[] = {"2026-02-29",           "2026-13-01", "02.03.2026",
                                           "2026-03-02T00:00:00Z", "",           "1889-01-01"};
    for (size_t i = 0; i < sizeof bad_days / sizeof bad_days[0]; i++)
        assert_false(wp_day_parse(bad_days[i], &day));
    assert_true(wp_minute_parse("14:00", &minute) && minute == 840);
    assert_true(wp_minute_parse("9:05", &minute) && minute == 545);
    assert_true(wp_minute_parse("24:00", &minute) && minute == 1440);
    static const char *const bad_times[] = {"24:01", "14:60", "14", "14:0", "2pm", ":00", "-1:00"};
    for (size_t i = 0; i < sizeof bad_times / sizeof bad_times[0]; i++)
        assert_false(wp_minute_parse(bad_times[i], &minute));
    assert_true(wp_weekday_parse("monday", &weekday) && weekday == 1);
    assert_true(wp_weekday_parse("Sun", &weekday) && weekday == 7);
    assert_false(wp_weekday_parse("someday", &weekday));
    assert_false(wp_weekday_parse("m", &weekday));
}

/* ---- expansion ---- */

static void set_up(const char *section)
{
    char body[200];
    done(wp_course_put, "{\"code\":\"CHM\"}", NULL);
    (void)snprintf(body, sizeof body, "{\"course\":\"CHM\",\"section\":\"%s\"}", section);
    done(wp_section_put, body, NULL);
}

static void a_class_at_14_stays_at_14_over_a_change_of_summer_time(void **state)
{
    (void)state;
    set_up("S");
    done(wp_weekly_add,
         "{\"course\":\"CHM\",\"section\":\"S\",\"weekday\":\"monday\",\"starts\":\"14:00\","
         "\"ends\":\"17:00\",\"from\":\"2099-03-16\",\"until\":\"2099-04-06\"}",
         NULL);
    struct listed listed = meetings("S");
    assert_string_equal(listed.all, "2099-03-16 14:00+180;2099-03-23 14:00+180;"
                                    "2099-03-30 14:00+180;2099-04-06 14:00+180;");
    /* 13:00 UTC before 29 March 2099, 12:00 UTC after it. */
    assert_int_equal(wp_day_span(20990323, 840, 1020).starts_us, utc("2099-03-23T13:00:00Z"));
    assert_int_equal(wp_day_span(20990330, 840, 1020).starts_us, utc("2099-03-30T12:00:00Z"));
    assert_int_equal(wp_day_span(20991026, 840, 1020).starts_us, utc("2099-10-26T13:00:00Z"));
    /* 02:30 is not there on that Sunday; the meeting keeps its length. */
    struct wp_span gap = wp_day_span(20990329, 150, 180);
    assert_int_equal(gap.ends_us - gap.starts_us, 30 * WP_MINUTE);
}

static void what_is_wrong_is_said(void **state)
{
    (void)state;
    set_up("W");
#define W "{\"course\":\"CHM\",\"section\":\"W\","
    refused(WP_INVALID, wp_weekly_add,
            W "\"weekday\":\"monday\",\"starts\":\"17:00\",\"ends\":\"14:00\"}",
            "ends before it starts");
    refused(WP_INVALID, wp_weekly_add,
            W "\"weekday\":\"caturday\",\"starts\":\"14:00\",\"ends\":\"15:00\"}",
            "no weekday \"caturday\"");
    refused(WP_INVALID, wp_weekly_add, W "\"starts\":\"14:00\",\"ends\":\"15:00\"}",
            "\"weekday\" is missing");
    refused(WP_INVALID, wp_weekly_add,
            W "\"weekday\":\"monday\",\"starts\":\"2pm\",\"ends\":\"15:00\"}", "such as 14:00");
    refused(WP_INVALID, wp_weekly_add,
            W "\"weekday\":\"monday\",\"starts\":\"14:00\",\"ends\":\"15:00\"}",
            "say \"from\" and \"until\"");
    refused(WP_INVALID, wp_weekly_add,
            W "\"weekday\":\"monday\",\"starts\":\"14:00\",\"ends\":\"15:00\","
              "\"from\":\"2099-03-16\",\"until\":\"2099-03-01\"}",
            "last day is before the first");
    /* 10,000 meetings, one a week */
    refused(WP_INVALID, wp_weekly_add,
            W "\"weekday\":\"monday\",\"starts\":\"14:00\",\"ends\":\"15:00\","
              "\"from\":\"2007-03-16\",\"until\":\"2199-03-01\"}",
            "at most 400 days");
    refused(WP_INVALID, wp_weekly_add,
            W "\"weekday\":\"monday\",\"starts\":\"14:00\",\"ends\":\"15:00\","
              "\"from\":\"2099-02-30\",\"until\":\"2099-03-01\"}",
            "\"2099-02-30\" is not a day");
    refused(WP_NOT_FOUND, wp_weekly_add,
            "{\"course\":\"CHM\",\"section\":\"none\",\"weekday\":\"mon\"}", "no section");
    assert_int_equal(meetings("W").count, 0);
    done(wp_weekly_add,
         W "\"weekday\":\"monday\",\"starts\":\"14:00\",\"ends\":\"17:00\","
           "\"from\":\"2099-03-02\",\"until\":\"2099-03-30\"}",
         NULL);
    refused(WP_INVALID, wp_weekly_add,
            W "\"weekday\":\"monday\",\"starts\":\"16:59\",\"ends\":\"18:00\","
              "\"from\":\"2099-03-30\",\"until\":\"2099-04-30\"}",
            "overlaps a meeting of this section on 2099-03-30 14:00");
    assert_int_equal(meetings("W").count, 5);
#undef W
}

static void a_section_has_a_bounded_number_of_meetings(void **state)
{
    (void)state;
    set_up("B");
    char body[256], text[WP_ERROR_TEXT] = "";
    enum wp_status status = WP_OK;
    int added = 0;
    for (int hour = 0; hour < 24 && !status; hour++) {
        (void)snprintf(body, sizeof body,
                       "{\"course\":\"CHM\",\"section\":\"B\",\"weekday\":\"tue\","
                       "\"starts\":\"%d:00\",\"ends\":\"%d:30\",\"from\":\"2099-01-01\","
                       "\"until\":\"2099-12-31\"}",
                       hour, hour);
        status = at(0, wp_weekly_add, body, NULL, text);
        added += !status;
    }
    assert_int_equal(status, WP_TOO_LARGE);
    assert_non_null(strstr(text, "at most 500 meetings"));
    assert_int_equal(meetings("B").count, added * 52);
}

/* ---- exceptions and changes ---- */

static void days_are_left_out_moved_and_taken_back(void **state)
{
    (void)state;
    int64_t id = 0, changed = 0;
    set_up("E");
    done(wp_weekly_add,
         "{\"course\":\"CHM\",\"section\":\"E\",\"weekday\":\"wed\",\"starts\":\"14:00\","
         "\"ends\":\"17:00\",\"from\":\"2099-03-04\",\"until\":\"2099-03-18\",\"place\":\"S/2\"}",
         &id);
#define E "{\"course\":\"CHM\",\"section\":\"E\","
    done(wp_weekly_except, E "\"day\":\"2099-03-11\"}", &changed);
    assert_int_equal(changed, 1);
    done(wp_weekly_except,
         E "\"day\":\"2099-03-18\",\"moved_to\":\"2099-03-19\",\"starts\":\"9:00\","
           "\"ends\":\"11:00\",\"place\":\"S/3\"}",
         NULL);
    assert_string_equal(meetings("E").all, "2099-03-04 14:00+180@S/2;2099-03-19 09:00+120@S/3;");
    /* a change of the rule keeps them */
    done(change, "{\"ends\":\"16:00\"}", &id);
    assert_string_equal(meetings("E").all, "2099-03-04 14:00+120@S/2;2099-03-19 09:00+120@S/3;");
    done(wp_weekly_except, E "\"day\":\"2099-03-11\",\"undo\":true}", NULL);
    assert_int_equal(meetings("E").count, 3);
    refused(WP_NOT_FOUND, wp_weekly_except, E "\"day\":\"2099-03-12\"}",
            "No weekly meeting falls on 2099-03-12, a Thursday");
    refused(WP_INVALID, wp_weekly_except, E "\"day\":\"2099-03-04\",\"moved_to\":\"2020-03-04\"}",
            "into the past");
    refused(WP_INVALID, wp_weekly_except, E "\"day\":\"2099-03-04\",\"moved_to\":\"2099-03-11\"}",
            "overlaps");
    assert_int_equal(meetings("E").count, 3);
    done(end, "{}", &id);
    assert_int_equal(meetings("E").count, 0);
    refused(WP_NOT_FOUND, end, "{}", "no such weekly meeting");
#undef E
}

static void what_has_begun_is_not_touched(void **state)
{
    (void)state;
    int64_t id = 0;
    set_up("P");
    done(wp_weekly_add,
         "{\"course\":\"CHM\",\"section\":\"P\",\"weekday\":\"fri\",\"starts\":\"14:00\","
         "\"ends\":\"17:00\",\"from\":\"2099-05-01\",\"until\":\"2099-05-22\"}",
         &id);
    assert_int_equal(meetings("P").count, 4);
    /* On Friday 8 May at 15:00 local (13:00 UTC) the class of that day runs. */
    int64_t now = utc("2099-05-08T13:00:00Z");
    assert_int_equal(at(now, change, "{\"starts\":\"16:00\",\"weekday\":\"friday\"}", &id, NULL),
                     WP_OK);
    assert_string_equal(meetings("P").all, "2099-05-01 14:00+180;2099-05-08 14:00+180;"
                                           "2099-05-15 16:00+60;2099-05-22 16:00+60;");
    int64_t none = 0;
    char text[WP_ERROR_TEXT];
    assert_int_equal(at(now, wp_weekly_except,
                        "{\"course\":\"CHM\",\"section\":\"P\",\"day\":\"2099-05-08\"}", &none,
                        text),
                     WP_CONFLICT);
    assert_non_null(strstr(text, "2099-05-08 has begun"));
    assert_int_equal(at(now, end, "{}", &id, NULL), WP_OK);
    assert_string_equal(meetings("P").all, "2099-05-01 14:00+180;2099-05-08 14:00+180;");
}

/* ---- terms ---- */

static void a_terms_days_are_its_sections(void **state)
{
    (void)state;
    int64_t changed = 0, term = 0;
    refused(WP_INVALID, wp_term_put, "{\"code\":\"99S\"}", "\"first\" and \"last\"");
    refused(WP_INVALID, wp_term_put,
            "{\"code\":\"99S\",\"first\":\"2099-05-01\",\"last\":\"2099-02-01\"}",
            "last day is before its first");
    refused(WP_INVALID, wp_term_put,
            "{\"code\":\"99S\",\"first\":\"2099-05-01\",\"last\":\"2101-02-01\"}", "400 days");
    done(wp_term_put, "{\"code\":\"99S\",\"first\":\"2099-06-01\",\"last\":\"2099-06-30\"}", &term);
    set_up("T1");
    set_up("T2");
    refused(WP_NOT_FOUND, wp_section_put,
            "{\"course\":\"CHM\",\"section\":\"T1\",\"term\":\"none\"}", "no term \"none\"");
    for (int i = 1; i <= 2; i++) {
        char body[200];
        (void)snprintf(body, sizeof body,
                       "{\"course\":\"CHM\",\"section\":\"T%d\",\"term\":\"99S\"}", i);
        done(wp_section_put, body, NULL);
        (void)snprintf(body, sizeof body,
                       "{\"course\":\"CHM\",\"section\":\"T%d\",\"weekday\":\"thu\","
                       "\"starts\":\"8:00\",\"ends\":\"10:00\"}",
                       i);
        done(wp_weekly_add, body, NULL);
    }
    assert_string_equal(meetings("T1").first, "2099-06-04 08:00");
    assert_int_equal(meetings("T1").count, 4);
    /* a holiday of the whole term */
    done(wp_weekly_except, "{\"term\":\"99S\",\"day\":\"2099-06-11\"}", &changed);
    assert_int_equal(changed, 2);
    assert_int_equal(meetings("T2").count, 3);
    done(wp_term_put, "{\"code\":\"99S\",\"last\":\"2099-07-14\"}", NULL);
    assert_string_equal(meetings("T2").last, "2099-07-09 08:00");
    assert_int_equal(meetings("T2").count, 5);
    char text[WP_ERROR_TEXT];
    assert_int_equal(at(0, remove_term, "{}", &term, text), WP_CONFLICT);
    assert_string_equal(text, "Sections belong to this term (2).");
    refused(WP_INVALID, wp_section_put, "{\"course\":\"CHM\",\"section\":\"T2\",\"term\":\"\"}",
            "belongs to no term");
}

static void sections_end_with_their_term(void **state)
{
    (void)state;
    int64_t ended = 0;
    done(wp_term_put, "{\"code\":\"99F\",\"first\":\"2099-09-01\",\"last\":\"2099-12-15\"}", NULL);
    set_up("F1");
    set_up("F2");
    done(wp_section_put, "{\"course\":\"CHM\",\"section\":\"F1\",\"term\":\"99F\"}", NULL);
    done(wp_section_put, "{\"course\":\"CHM\",\"section\":\"F2\",\"term\":\"99F\",\"ended\":true}",
         NULL);
    int64_t by_hand = meetings("F2").ended;
    assert_true(by_hand > 0);
    /* the last day counts to its end: 23:00 UTC of the 15th is midnight in Vienna */
    assert_int_equal(at(utc("2099-12-15T22:59:59Z"), end_terms, "{}", &ended, NULL), WP_OK);
    assert_int_equal(meetings("F1").ended, 0);
    assert_int_equal(at(utc("2099-12-15T23:00:00Z"), end_terms, "{}", &ended, NULL), WP_OK);
    assert_int_equal(meetings("F1").ended, utc("2099-12-15T23:00:00Z"));
    assert_int_equal(meetings("F2").ended, by_hand);
    assert_int_equal(at(utc("2099-12-16T12:00:00Z"), end_terms, "{}", &ended, NULL), WP_OK);
    assert_int_equal(ended, 0);
    /* a longer term opens again what ended with it, and nothing else */
    assert_int_equal(at(utc("2099-12-16T12:00:00Z"), wp_term_put,
                        "{\"code\":\"99F\",\"last\":\"2099-12-20\"}", NULL, NULL),
                     WP_OK);
    assert_int_equal(meetings("F1").ended, 0);
    assert_int_equal(meetings("F2").ended, by_hand);
    done(wp_section_put, "{\"course\":\"CHM\",\"section\":\"F2\",\"ended\":false}", NULL);
    assert_int_equal(meetings("F2").ended, 0);
    /* one that is over already ends its sections at once */
    done(wp_term_put, "{\"code\":\"00F\",\"first\":\"2000-09-01\",\"last\":\"2000-12-15\"}", NULL);
    done(wp_section_put, "{\"course\":\"CHM\",\"section\":\"F2\",\"term\":\"00F\"}", NULL);
    assert_int_equal(meetings("F2").ended, utc("2000-12-15T23:00:00Z"));
    set_up("F3");
    done(wp_section_put, "{\"course\":\"CHM\",\"section\":\"F3\",\"term\":\"00F\"}", NULL);
    assert_int_equal(meetings("F3").ended, utc("2000-12-15T23:00:00Z"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(days_weekdays_and_minutes_are_read_as_typed),
        cmocka_unit_test(a_class_at_14_stays_at_14_over_a_change_of_summer_time),
        cmocka_unit_test(what_is_wrong_is_said),
        cmocka_unit_test(a_section_has_a_bounded_number_of_meetings),
        cmocka_unit_test(days_are_left_out_moved_and_taken_back),
        cmocka_unit_test(what_has_begun_is_not_touched),
        cmocka_unit_test(a_terms_days_are_its_sections),
        cmocka_unit_test(sections_end_with_their_term),
    };
    return cmocka_run_group_tests(tests, start, stop);
}
