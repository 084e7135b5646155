/* Mail that comes back: marks, and reports as servers write them. The first two are the examples
 * E.1 and E.2 of RFC 3464, with other addresses. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "post/report.h"

static const unsigned char key[WP_HASH_SIZE] = {1, 2, 3};
static const unsigned char other_key[WP_HASH_SIZE] = {1, 2, 4};

static struct wp_report read_ok(const char *text)
{
    struct wp_report report;
    assert_int_equal(wp_report_read(text, strlen(text), &report), WP_OK);
    return report;
}

static void is_no_report(const char *text)
{
    struct wp_report report;
    assert_int_equal(wp_report_read(text, strlen(text), &report), WP_NOT_FOUND);
}

/* ---- marks ---- */

static void a_mark_is_ours_alone(void **state)
{
    (void)state;
    static const int64_t ids[] = {0, 1, 17, INT64_C(1) << 40, INT64_MAX};
    for (size_t i = 0; i < sizeof ids / sizeof *ids; i++) {
        char mark[WP_MAIL_MARK_ROOM];
        int64_t id = -1;
        wp_mail_mark(key, ids[i], mark);
        assert_true(wp_mail_mark_check(key, mark, &id));
        assert_int_equal(id, ids[i]);
        assert_false(wp_mail_mark_check(other_key, mark, &id));
        for (size_t k = 0; mark[k] != '\0'; k++) {
            char changed[WP_MAIL_MARK_ROOM];
            memcpy(changed, mark, sizeof changed);
            changed[k] = changed[k] == '3' ? '4' : '3';
            assert_false(wp_mail_mark_check(key, changed, &id));
        }
        mark[strlen(mark) - 1] = '\0';
        assert_false(wp_mail_mark_check(key, mark, &id));
    }
}

static void the_sender_carries_the_mark_where_there_is_room(void **state)
{
    (void)state;
    struct wp_post_options options = {.from = "lab@college.example", .sub_address = "+"};
    char sender[WP_ADDRESS_ROOM];
    char mark[WP_MAIL_MARK_ROOM];
    wp_mail_mark(key, 17, mark);
    wp_mail_sender(&options, mark, sender);
    assert_memory_equal(sender, "lab+w0000000000000011-", 22);
    assert_string_equal(sender + 4 + strlen(mark), "@college.example");
    wp_mail_sender(&options, NULL, sender);
    assert_string_equal(sender, "lab@college.example");
    options.from = "the-teaching-laboratory-of-chemistry@college.example";
    wp_mail_sender(&options, mark, sender);
    assert_string_equal(sender, options.from);
    options.from = "lab@college.example";
    options.sub_address = NULL;
    wp_mail_sender(&options, mark, sender);
    assert_string_equal(sender, "lab@college.example");
}

/* ---- reports ---- */

static const char timed_out[] =
    "Date: Thu, 7 Jul 1994 17:16:05 -0400\r\n"
    "From: Mail Delivery Subsystem <MAILER-DAEMON@relay.example>\r\n"
    "Message-Id: <199407072116.RAA14128@relay.example>\r\n"
    "Subject: Returned mail: Cannot send message for 5 days\r\n"
    "To: <owner-info-mime@relay.example>\r\n"
    "MIME-Version: 1.0\r\n"
    "Content-Type: multipart/report; report-type=delivery-status;\r\n"
    "      boundary=\"RAA14128.773615765/relay.example\"\r\n"
    "\r\n"
    "--RAA14128.773615765/relay.example\r\n"
    "\r\n"
    "The original message was received at Sat, 2 Jul 1994 17:10:28 -0400\r\n"
    "from root@localhost\r\n"
    "\r\n"
    "   ----- The following addresses had delivery problems -----\r\n"
    "<louis@larry.example>  (unrecoverable error)\r\n"
    "\r\n"
    "<louis@larry.example>... Deferred: Connection timed out\r\n"
    "      with larry.example.\r\n"
    "Message could not be delivered for 5 days\r\n"
    "Message will be deleted from queue\r\n"
    "\r\n"
    "--RAA14128.773615765/relay.example\r\n"
    "content-type: message/delivery-status\r\n"
    "\r\n"
    "Reporting-MTA: dns; relay.example\r\n"
    "\r\n"
    "Original-Recipient: rfc822;louis@larry.example\r\n"
    "Final-Recipient: rfc822;louis@larry.example\r\n"
    "Action: failed\r\n"
    "Status: 4.0.0\r\n"
    "Diagnostic-Code: smtp; 426 connection timed out\r\n"
    "Last-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400\r\n"
    "\r\n"
    "--RAA14128.773615765/relay.example\r\n"
    "content-type: message/rfc822\r\n"
    "\r\n"
    "[original message goes here]\r\n"
    "\r\n"
    "--RAA14128.773615765/relay.example--\r\n";

static const char three_recipients[] =
    "To: owner-ups-mib@relay.example\r\n"
    "MIME-Version: 1.0\r\n"
    "Content-Type: multipart/report; report-type=delivery-status;\r\n"
    " boundary=\"JAA13167.773673707/relay.example\"\r\n"
    "\r\n"
    "--JAA13167.773673707/relay.example\r\n"
    "content-type: text/plain; charset=us-ascii\r\n"
    "\r\n"
    "   ----- The following addresses had delivery problems -----\r\n"
    "\r\n"
    "--JAA13167.773673707/relay.example\r\n"
    "content-type: message/delivery-status\r\n"
    "\r\n"
    "Reporting-MTA: dns; relay.example\r\n"
    "\r\n"
    "Original-Recipient: rfc822;arathi@vnet.example\r\n"
    "Final-Recipient: rfc822;arathi@vnet.example\r\n"
    "Action: failed\r\n"
    "Status: 5.0.0 (permanent failure)\r\n"
    "Diagnostic-Code: smtp;  550 'arathi@vnet.example' is not a\r\n"
    " registered gateway user\r\n"
    "Remote-MTA: dns; vnet.example\r\n"
    "\r\n"
    "Original-Recipient: rfc822;john@north.example\r\n"
    "Final-Recipient: rfc822;john@north.example\r\n"
    "Action: delayed\r\n"
    "Status: 4.0.0 (north.example: host name lookup failure)\r\n"
    "\r\n"
    "Original-Recipient: rfc822;will@south.example\r\n"
    "Final-Recipient: rfc822;will@south.example\r\n"
    "Action: failed\r\n"
    "Status: 5.0.0\r\n"
    "Diagnostic-Code: smtp; 550 user unknown\r\n"
    "Remote-MTA: dns; south.example\r\n"
    "\r\n"
    "--JAA13167.773673707/relay.example\r\n"
    "content-type: message/rfc822\r\n"
    "\r\n"
    "[original message goes here]\r\n"
    "--JAA13167.773673707/relay.example--\r\n";

static void the_examples_of_the_standard_are_read(void **state)
{
    (void)state;
    struct wp_report report = read_ok(timed_out);
    assert_int_equal(report.action, WP_REPORT_FAILED);
    assert_string_equal(report.code, "4.0.0");
    assert_int_equal(report.mark_count, 0);
    report = read_ok(three_recipients);
    assert_int_equal(report.action, WP_REPORT_FAILED);
    assert_string_equal(report.code, "5.0.0");
}

/* One report with lines in place of the recipient's; the caller frees it. */
static char *made(const char *to, const char *lines, const char *returned)
{
    char *text = NULL;
    assert_true(asprintf(&text,
                         "To: %s\nContent-Type: multipart/report; boundary=b;"
                         " report-type=\"delivery-status\"\n\n--b\nContent-Type: text/plain\n\n"
                         "Sorry.\n--b\nContent-Type: message/delivery-status\n\n"
                         "Reporting-MTA: dns; relay.example\n\n%s\n--b\n"
                         "Content-Type: text/rfc822-headers\n\n%s\n--b--\n",
                         to, lines, returned) > 0);
    return text;
}

static void class_and_words_follow_action_and_code(void **state)
{
    (void)state;
    static const struct {
        const char *lines;
        enum wp_report_action action;
        const char *code;
        const char *meaning;
        bool final;
    } table[] = {
        {"Action: failed\nStatus: 5.1.1", WP_REPORT_FAILED, "5.1.1", "The mailbox does not exist.",
         true},
        {"action: FAILED\nstatus: 5.0.0\nDiagnostic-Code: smtp; 550 5.1.1\n no such person",
         WP_REPORT_FAILED, "5.1.1", "The mailbox does not exist.", true},
        {"Action: failed\nStatus: 5.2.2", WP_REPORT_FAILED, "5.2.2", "The mailbox is full.", false},
        {"Action: delayed\nStatus: 4.2.2", WP_REPORT_DELAYED, "4.2.2", "The mailbox is full.",
         false},
        {"Action: failed (expired)\nStatus: 4.4.7", WP_REPORT_FAILED, "4.4.7",
         "The mail server cannot reach the mailbox.", false},
        {"Action: failed\nStatus: 5.2.1", WP_REPORT_FAILED, "5.2.1", "The mailbox is closed.",
         true},
        {"Action: failed\nStatus: 5.7.1", WP_REPORT_FAILED, "5.7.1",
         "The mail server's rules refuse the mail.", false},
        {"Action: failed\nStatus: 5.0.0\nDiagnostic-Code: smtp; 451 4.2.2 busy", WP_REPORT_FAILED,
         "5.0.0", "The mail server refuses the mail.", false},
        {"Action: failed", WP_REPORT_FAILED, "", "The mail server refuses the mail.", false},
        {"Action: delivered\nStatus: 2.0.0", WP_REPORT_NOTHING, "", NULL, false},
        {"Action: relayed\nStatus: 2.0.0", WP_REPORT_NOTHING, "", NULL, false},
        {"Action: failed\nStatus: 5.1.1\n\nAction: delivered\nStatus: 2.0.0", WP_REPORT_NOTHING,
         "5.1.1", NULL, true},
        {"Action: delayed\nStatus: 4.4.1\n\nAction: failed\nStatus: 5.1.1", WP_REPORT_FAILED,
         "5.1.1", "The mailbox does not exist.", true},
    };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        char *text = made("lab@college.example", table[i].lines, "Message-ID: <x@y>");
        struct wp_report report = read_ok(text);
        assert_int_equal(report.action, table[i].action);
        assert_string_equal(report.code, table[i].code);
        if (table[i].meaning != NULL)
            assert_string_equal(wp_report_meaning(&report), table[i].meaning);
        assert_int_equal(wp_reply_is_final(report.code), table[i].final);
        free(text);
    }
}

static void the_mark_is_found_in_the_address_and_in_what_came_back(void **state)
{
    (void)state;
    char mark[WP_MAIL_MARK_ROOM];
    char to[100];
    char id[100];
    wp_mail_mark(key, 4711, mark);
    snprintf(to, sizeof to, "<Lab+%s@College.example>", mark);
    snprintf(id, sizeof id, "Message-ID:\n <wavepost.%s@college.example>", mark);
    char *both = made(to, "Action: failed\nStatus: 5.1.1", id);
    char *address = made(to, "Action: failed\nStatus: 5.1.1", "Message-ID: <other@y>");
    char *header = made("lab@college.example", "Action: failed\nStatus: 5.1.1", id);
    assert_int_equal(read_ok(both).mark_count, 2);
    assert_string_equal(read_ok(address).marks[0], mark);
    assert_string_equal(read_ok(header).marks[0], mark);
    /* In the words for people it proves nothing. */
    char *words = made("lab@college.example", "Action: failed\nX-Note: y", "Subject: nothing");
    assert_int_equal(read_ok(words).mark_count, 0);
    free(both);
    free(address);
    free(header);
    free(words);
}

static void other_mail_is_no_report(void **state)
{
    (void)state;
    is_no_report("");
    is_no_report("\r\n\r\n");
    is_no_report(
        "Subject: Out of office\r\nAuto-Submitted: auto-replied\r\n\r\nAction: failed\r\n");
    is_no_report("Content-Type: message/delivery-status\n\nAction: failed\nStatus: 5.1.1\n");
    is_no_report("Content-Type: multipart/mixed; boundary=b\n\n--b\n"
                 "Content-Type: message/delivery-status\n\nAction: failed\nStatus: 5.1.1\n--b--\n");
    is_no_report(
        "Content-Type: multipart/report; report-type=disposition-notification; boundary=b\n"
        "\n--b\nContent-Type: message/delivery-status\n\nAction: failed\n--b--\n");
    is_no_report("Content-Type: multipart/report; report-type=delivery-status\n\n--\n"
                 "Content-Type: message/delivery-status\n\nAction: failed\n");
}

/* A report inside other parts, `depth` of them. */
static char *nested(int depth)
{
    static char text[16384];
    size_t used = 0;
    for (int i = 0; i < depth; i++)
        used += (size_t)snprintf(text + used, sizeof text - used,
                                 "Content-Type: multipart/mixed; boundary=n%d\n\n--n%d\n", i, i);
    snprintf(text + used, sizeof text - used,
             "Content-Type: multipart/report; report-type=delivery-status; boundary=r\n\n--r\n"
             "Content-Type: message/delivery-status\n\nReporting-MTA: dns; x\n\nAction: failed\n");
    return text;
}

static void nesting_is_bounded_and_an_end_cut_off_is_borne(void **state)
{
    (void)state;
    assert_int_equal(read_ok(nested(0)).action, WP_REPORT_FAILED);
    assert_int_equal(read_ok(nested(3)).action, WP_REPORT_FAILED);
    is_no_report(nested(40));
    struct wp_report report;
    for (size_t size = 0; size < sizeof timed_out; size++)
        (void)wp_report_read(timed_out, size, &report);
    for (size_t size = 0; size < sizeof three_recipients; size++)
        (void)wp_report_read(three_recipients, size, &report);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_mark_is_ours_alone),
        cmocka_unit_test(the_sender_carries_the_mark_where_there_is_room),
        cmocka_unit_test(the_examples_of_the_standard_are_read),
        cmocka_unit_test(class_and_words_follow_action_and_code),
        cmocka_unit_test(the_mark_is_found_in_the_address_and_in_what_came_back),
        cmocka_unit_test(other_mail_is_no_report),
        cmocka_unit_test(nesting_is_bounded_and_an_end_cut_off_is_borne),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
