/* What a report does to deliveries and addresses, in a real database; and a mailbox's answers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "mailbox_read.h"
#include "returned.h"

#define ADDRESS "maya@college.example"

static char folder[64];
static struct wp_db *db;
static unsigned char key[WP_HASH_SIZE];

static enum wp_status prepare(struct wp_txn *txn, void *job)
{
    (void)job;
    char digest[WP_DIGEST_TEXT];
    enum wp_status status = wp_mail_key(txn, key);
    wp_mail_digest(key, ADDRESS, digest);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO person (id, login, given, family, email, created_us)"
                            " VALUES (1, 'maya', 'Maya', 'R', ?, 0)",
                            "t", ADDRESS);
    /* Two went with mail 7, one with mail 8; delivery 14 is paper. */
    for (int64_t id = 11; id <= 14 && !status; id++)
        status = wp_sql_run(
            txn->sql,
            "INSERT INTO delivery (id, kind, measurement_id, person_id, instrument_id, state,"
            " reason, due_us, created_us, changed_us, mail_id, mailed_to)"
            " VALUES (?, ?, 1, 1, 1, 'done', 'Mailed.', 0, 0, 0, ?, ?)",
            "itit", id, id == 14 ? "print" : "mail", id == 13 ? INT64_C(8) : INT64_C(7), digest);
    return status;
}

static int open_database(void **state)
{
    (void)state;
    snprintf(folder, sizeof folder, "/tmp/wavepost-returned-XXXXXX");
    struct wp_db_options options = {.folder = mkdtemp(folder)};
    return options.folder != NULL && wp_secret_init() == WP_OK &&
                   wp_db_open(&options, &db, NULL) == WP_OK &&
                   wp_db_write_now(db, prepare, NULL) == WP_OK
               ? 0
               : -1;
}

static int close_database(void **state)
{
    (void)state;
    char command[128];
    wp_db_close(db);
    snprintf(command, sizeof command, "rm -r '%s'", folder);
    return system(command);
}

struct applying {
    struct wp_report report;
    bool ours;
};

static enum wp_status apply(struct wp_txn *txn, void *job)
{
    struct applying *applying = job;
    return wp_returned_apply(txn, &applying->report, &applying->ours);
}

static bool applied(enum wp_report_action action, const char *code, const char *mark)
{
    struct applying applying = {.report = {.action = action, .mark_count = 1}};
    snprintf(applying.report.code, sizeof applying.report.code, "%s", code);
    snprintf(applying.report.marks[0], sizeof applying.report.marks[0], "%s", mark);
    assert_int_equal(wp_db_write_now(db, apply, &applying), WP_OK);
    return applying.ours;
}

static const char *mark_of(int64_t mail)
{
    static char mark[WP_MAIL_MARK_ROOM];
    wp_mail_mark(key, mail, mark);
    return mark;
}

struct count {
    const char *text;
    int64_t value;
};

static enum wp_status run_count(struct wp_sql *sql, void *job)
{
    struct count *count = job;
    return wp_sql_int(sql, &count->value, count->text, "");
}

static int64_t count(const char *text)
{
    struct count one = {text, -1};
    assert_int_equal(wp_db_read_now(db, run_count, &one), WP_OK);
    return one.value;
}

static enum wp_status run_read(struct wp_sql *sql, void *job)
{
    return wp_returned_read(sql, 1, job);
}

static struct wp_returned returned(void)
{
    struct wp_returned found;
    assert_int_equal(wp_db_read_now(db, run_read, &found), WP_OK);
    return found;
}

static enum wp_status run_script(struct wp_txn *txn, void *job)
{
    return wp_sql_script(txn->sql, job);
}

static void a_mailbox_that_is_not_there_fails_its_deliveries_and_stops_the_address(void **state)
{
    (void)state;
    assert_true(applied(WP_REPORT_FAILED, "5.1.1", mark_of(7)));
    assert_int_equal(
        count("SELECT COUNT(*) FROM delivery WHERE state = 'failed' AND id IN (11, 12)"
              " AND reason = 'The mail came back: The mailbox does not exist. (5.1.1)'"),
        2);
    assert_int_equal(count("SELECT COUNT(*) FROM delivery WHERE state = 'done'"), 2);
    assert_int_equal(count("SELECT COUNT(*) FROM delivery_event WHERE state = 'failed'"), 2);
    assert_true(returned().stopped);
    assert_string_equal(returned().reason, "The mailbox does not exist. (5.1.1)");
    assert_int_equal(count("SELECT COUNT(*) FROM ledger WHERE verb = 'mail-stopped'"), 1);
    /* A second report of the same mail changes nothing. */
    assert_true(applied(WP_REPORT_FAILED, "5.2.2", mark_of(7)));
    assert_true(returned().stopped);
    assert_int_equal(count("SELECT COUNT(*) FROM delivery_event"), 2);
    /* Another address gets mail again. */
    static char change[] = "UPDATE person SET email = 'm.rowan@college.example' WHERE id = 1";
    assert_int_equal(wp_db_write_now(db, run_script, change), WP_OK);
    assert_false(returned().any);
}

static void a_full_mailbox_fails_its_deliveries_and_stops_nothing(void **state)
{
    (void)state;
    assert_true(applied(WP_REPORT_FAILED, "5.2.2", mark_of(8)));
    assert_int_equal(count("SELECT COUNT(*) FROM delivery WHERE state = 'failed' AND id = 13"), 1);
    assert_true(returned().any);
    assert_false(returned().stopped);
}

static void a_late_mail_stays_done_and_says_so(void **state)
{
    (void)state;
    assert_true(applied(WP_REPORT_DELAYED, "4.2.2", mark_of(8)));
    assert_int_equal(count("SELECT COUNT(*) FROM delivery WHERE state = 'done' AND id = 13 AND"
                           " reason LIKE 'The mail is late%The mailbox is full. (4.2.2)'"),
                     1);
    assert_false(returned().any);
    assert_true(applied(WP_REPORT_FAILED, "4.4.7", mark_of(8)));
    assert_int_equal(count("SELECT COUNT(*) FROM delivery WHERE state = 'failed' AND id = 13"), 1);
}

static void a_forged_report_changes_nothing(void **state)
{
    (void)state;
    char mark[WP_MAIL_MARK_ROOM];
    unsigned char wrong[WP_HASH_SIZE] = {9};
    wp_mail_mark(wrong, 7, mark);
    assert_false(applied(WP_REPORT_FAILED, "5.1.1", mark));
    assert_false(applied(WP_REPORT_FAILED, "5.1.1", ""));
    assert_true(applied(WP_REPORT_FAILED, "5.1.1", mark_of(9)));
    assert_true(applied(WP_REPORT_NOTHING, "", mark_of(7)));
    assert_int_equal(count("SELECT COUNT(*) FROM delivery WHERE state = 'done'"), 4);
    assert_false(returned().any);
}

static enum wp_status run_enqueue(struct wp_txn *txn, void *job)
{
    struct wp_delivery_request request = {.kind = WP_DELIVERY_MAIL,
                                          .measurement = 1,
                                          .person = 1,
                                          .instrument = 1,
                                          .pages = 1,
                                          .mailing = WP_MAILING_LINK,
                                          .reason = "Kept at the bench.",
                                          .actor = WP_ACTOR_BENCH};
    return wp_delivery_enqueue(txn, &request, job, NULL);
}

static void nothing_is_mailed_to_a_stopped_address(void **state)
{
    (void)state;
    struct wp_delivery_made made;
    assert_true(applied(WP_REPORT_FAILED, "5.1.1", mark_of(7)));
    assert_int_equal(wp_db_write_now(db, run_enqueue, &made), WP_OK);
    assert_string_equal(made.text, WP_MAIL_STOPPED_TEXT);
    assert_int_equal(
        count("SELECT COUNT(*) FROM delivery WHERE state = 'inbox' AND mailing = 'link'"), 1);
}

static void a_mailboxs_answers_are_read(void **state)
{
    (void)state;
    int64_t validity;
    int64_t next;
    int64_t uids[4];
    assert_true(
        wp_mailbox_status("* STATUS INBOX (UIDVALIDITY 99 UIDNEXT 12)\r\n", &validity, &next));
    assert_int_equal(validity, 99);
    assert_int_equal(next, 12);
    assert_true(wp_mailbox_status("* status \"INBOX\" (uidnext 4294967295 uidvalidity 1)",
                                  &validity, &next));
    assert_int_equal(next, INT64_C(4294967295));
    assert_false(wp_mailbox_status("* STATUS INBOX (UIDNEXT 12)", &validity, &next));
    assert_false(
        wp_mailbox_status("* STATUS INBOX (UIDVALIDITY 1 UIDNEXT 99999999999)", &validity, &next));
    assert_false(wp_mailbox_status("", &validity, &next));
    assert_int_equal(wp_mailbox_found("* SEARCH 9 5 7 7 100 3\r\n", 4, 9, uids, 4), 3);
    assert_int_equal(uids[0], 5);
    assert_int_equal(uids[2], 9);
    assert_int_equal(wp_mailbox_found("* SEARCH 1 2 3 4 5 6", 1, 6, uids, 4), 4);
    assert_int_equal(wp_mailbox_found("* SEARCH\r\n", 1, 6, uids, 4), 0);
    assert_int_equal(wp_mailbox_found("* SEARCH -1 x 4", 1, 6, uids, 4), 0);
}

#define IN_DATABASE(test) cmocka_unit_test_setup_teardown(test, open_database, close_database)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_DATABASE(a_mailbox_that_is_not_there_fails_its_deliveries_and_stops_the_address),
        IN_DATABASE(a_full_mailbox_fails_its_deliveries_and_stops_nothing),
        IN_DATABASE(a_late_mail_stays_done_and_says_so),
        IN_DATABASE(a_forged_report_changes_nothing),
        IN_DATABASE(nothing_is_mailed_to_a_stopped_address),
        cmocka_unit_test(a_mailboxs_answers_are_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
