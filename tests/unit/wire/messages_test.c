#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "wire/messages.h"

#define HASH "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
#define PIN "PMN0UJKbXLmQ9HQMQ0OQdt30_n5xmaLYULi2HHsokG8"

/* The examples below are those of schema/wire/agent.md. */

static void a_join_string_is_read_and_written(void **state)
{
    (void)state;
    struct wp_wire_join_string join;
    struct wp_bytes out;
    wp_bytes_init(&out, 512);
    assert_int_equal(
        wp_wire_join_string_get("https://gate.example:8443/join#K7QM-4TXA:" PIN, &join, NULL), 0);
    assert_string_equal(join.base, "https://gate.example:8443");
    assert_string_equal(join.code, "K7QM-4TXA");
    assert_string_equal(join.pin, PIN);
    assert_int_equal(wp_wire_join_string_put(&join, &out), 0);
    assert_string_equal(out.data, "https://gate.example:8443/join#K7QM-4TXA:" PIN);
    assert_int_equal(wp_wire_join_string_get("https://[::1]:1/join#K7QM-4TXA", &join, NULL), 0);
    assert_string_equal(join.pin, "");
    wp_bytes_release(&out);
}

static void malformed_join_strings_are_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = {
        "",
        "http://gate.example/join#K7QM-4TXA",
        "https://gate.example/join#",
        "https://gate.example/#K7QM-4TXA",
        "https://user@gate.example/join#K7QM-4TXA",
        "https://gate.example/join#K7QM-4TXA:short",
        "https://gate.example/join#K7QM-4TXA:" PIN "x",
        "https://gate.example\r\nX: y/join#K7QM-4TXA",
        "https://gate.example/join#K7QM 4TXA",
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct wp_wire_join_string join;
        struct wp_error error;
        assert_int_equal(wp_wire_join_string_get(wrong[i], &join, &error), WP_INVALID);
        assert_true(strlen(error.text) > 10);
    }
}

static void a_pin_is_turned_into_curls_form(void **state)
{
    (void)state;
    char out[64];
    wp_wire_pin_for_curl("-_"
                         "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
                         out);
    assert_string_equal(out, "sha256//+/AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=");
}

static struct wp_wire_capture example(void)
{
    return (struct wp_wire_capture){
        .number = 17,
        .path = "Users/lab/IR/two\nlines \"quoted\" \\ \x01.jdx",
        .mtime_us = 1772460309123456,
        .captured_us = 1772000000000000,
        .steady_us = 5,
        .boot_id = "78f96bcc",
        .backfill = true,
    };
}

static void a_capture_field_goes_both_ways(void **state)
{
    (void)state;
    struct wp_wire_capture sent = example();
    struct wp_wire_capture got;
    char field[WP_WIRE_FIELD];
    assert_int_equal(wp_wire_capture_field_put(&sent, field), 0);
    assert_int_equal(wp_wire_capture_field_get(field, &got, NULL), 0);
    assert_int_equal(got.number, 17);
    assert_string_equal(got.path, sent.path);
    assert_int_equal(got.mtime_us, sent.mtime_us);
    assert_int_equal(got.captured_us, sent.captured_us);
    assert_string_equal(got.boot_id, sent.boot_id);
    assert_true(got.backfill);
}

static void a_path_too_long_for_the_field_keeps_its_end(void **state)
{
    (void)state;
    struct wp_wire_capture sent = example();
    struct wp_wire_capture got;
    char field[WP_WIRE_FIELD];
    memset(sent.path, '\x01', sizeof sent.path - 1);
    memcpy(sent.path + sizeof sent.path - 6, "a.jdx", 5);
    sent.path[sizeof sent.path - 1] = '\0';
    assert_int_equal(wp_wire_capture_field_put(&sent, field), 0);
    assert_int_equal(wp_wire_capture_field_get(field, &got, NULL), 0);
    assert_true(strlen(got.path) > 200 && strlen(got.path) < 1024);
    assert_string_equal(got.path + strlen(got.path) - 5, "a.jdx");
}

static void paths_of_any_bytes_become_text(void **state)
{
    (void)state;
    char out[WP_WIRE_PATH];
    wp_wire_path("a\xFFz\xC3\xA9\xC3", 6, 1024, out);
    assert_string_equal(out, "a\xEF\xBF\xBDz\xC3\xA9\xEF\xBF\xBD");
    wp_wire_path("folder/\xC3\xA9.jdx", 13, 5, out);
    assert_string_equal(out, ".jdx");
    wp_wire_path("", 0, 1024, out);
    assert_string_equal(out, "");
}

static void whole_numbers_are_written_as_such(void **state)
{
    (void)state;
    struct wp_wire_beaten message = {.time_us = 1772000000000000, .every_s = 30};
    struct wp_bytes out;
    wp_bytes_init(&out, 1024);
    assert_int_equal(wp_wire_beaten_put(&message, &out), 0);
    assert_string_equal(
        out.data,
        "{\"time_us\":1772000000000000,\"every_s\":30,\"paused\":false,\"ledger_ok\":false}");
    wp_bytes_release(&out);
    message.time_us = INT64_MAX;
    wp_bytes_init(&out, 1024);
    assert_int_equal(wp_wire_beaten_put(&message, &out), WP_INVALID);
    wp_bytes_release(&out);
}

static void the_documents_examples_are_read(void **state)
{
    (void)state;
    static const char join[] =
        "{\"code\":\"K7QM-4TXA\",\"version\":\"0.1.0\",\"platform\":\"linux\",\"time_us\":0}";
    static const char joined[] =
        "{\"token\":\"abc\",\"agent\":1,\"instrument\":{\"id\":1,\"name\":\"IR-1\",\"place\":"
        "\"Science/2/214/bench A\"},\"ledger\":{\"number\":0,\"hash\":\"" HASH "\"}}";
    static const char receipt[] =
        "{\"number\":17,\"sha256\":\"" HASH "\",\"receipt\":\"r\",\"known\":false,"
        "\"ledger\":{\"number\":42,\"hash\":\"" HASH "\"}}";
    struct wp_wire_join a;
    struct wp_wire_joined b;
    struct wp_wire_receipt c;
    assert_int_equal(wp_wire_join_get(join, sizeof join - 1, &a, NULL), 0);
    assert_string_equal(a.code, "K7QM-4TXA");
    assert_int_equal(wp_wire_joined_get(joined, sizeof joined - 1, &b, NULL), 0);
    assert_string_equal(b.place, "Science/2/214/bench A");
    assert_int_equal(wp_wire_receipt_get(receipt, sizeof receipt - 1, &c, NULL), 0);
    assert_int_equal(c.ledger.number, 42);
}

static void unsound_documents_are_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = {
        "",
        "[]",
        "{}",
        "{\"time_us\":1,\"every_s\":30,\"paused\":false}",
        "{\"time_us\":1.5,\"every_s\":30,\"paused\":false,\"ledger_ok\":true}",
        "{\"time_us\":1e300,\"every_s\":30,\"paused\":false,\"ledger_ok\":true}",
        "{\"time_us\":\"1\",\"every_s\":30,\"paused\":false,\"ledger_ok\":true}",
        "{\"time_us\":1,\"every_s\":0,\"paused\":false,\"ledger_ok\":true}",
        "{\"time_us\":1,\"every_s\":30,\"paused\":0,\"ledger_ok\":true}",
        "{\"time_us\":1,\"time_us\":2,\"every_s\":30,\"paused\":false,\"ledger_ok\":true}",
        "{\"time_us\":1,\"every_s\":30,\"paused\":false,\"ledger_ok\":true} x",
        "{\"time_us\":1,\"every_s\":30,\"paused\":false,\"ledger_ok\":true,\"more\":\"\\u0000\"}",
        "{\"time_us\":1,\"every_s\":30,\"paused\":false,\"ledger_ok\":true,\"more\":\"\xFF\"}",
        "{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":{\"a\":{}}}}}}}}},\"time_us\":1,"
        "\"every_s\":30,\"paused\":false,\"ledger_ok\":true}",
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct wp_wire_beaten message;
        struct wp_error error;
        assert_int_equal(wp_wire_beaten_get(wrong[i], strlen(wrong[i]), &message, &error),
                         WP_INVALID);
        assert_true(error.text[0]);
    }
    static const char newer[] = "{\"time_us\":1,\"every_s\":30,\"paused\":false,\"ledger_ok\":true,"
                                "\"more\":[\"\\\\u0000\"]}\n";
    struct wp_wire_beaten message;
    assert_int_equal(wp_wire_beaten_get(newer, sizeof newer - 1, &message, NULL), 0);
}

static void an_offer_and_its_answer_go_both_ways_and_are_bounded(void **state)
{
    (void)state;
    struct wp_wire_offer *sent = calloc(1, sizeof *sent);
    struct wp_wire_offer *got = calloc(1, sizeof *got);
    struct wp_wire_offered *answer = calloc(1, sizeof *answer);
    struct wp_wire_offered *back = calloc(1, sizeof *back);
    struct wp_bytes out;
    wp_bytes_init(&out, 1024 * 1024);
    sent->count = WP_WIRE_OFFERS;
    for (size_t i = 0; i < sent->count; i++) {
        sent->captures[i] = example();
        sent->captures[i].number = (int64_t)i + 1;
        memcpy(sent->captures[i].sha256, HASH, sizeof HASH);
    }
    assert_int_equal(wp_wire_offer_put(sent, &out), 0);
    assert_int_equal(wp_wire_offer_get(out.data, out.size, got, NULL), 0);
    assert_int_equal(got->count, 100);
    assert_int_equal(got->captures[99].number, 100);
    sent->count++;
    assert_int_equal(wp_wire_offer_put(sent, &out), WP_INVALID);
    wp_bytes_clear(&out);
    answer->receipt_count = 1;
    answer->receipts[0] = (struct wp_wire_receipt){.number = 1, .sha256 = HASH, .receipt = "r"};
    memcpy(answer->receipts[0].ledger.hash, HASH, sizeof HASH);
    answer->wanted_count = 2;
    answer->wanted[0] = 18;
    answer->wanted[1] = 19;
    assert_int_equal(wp_wire_offered_put(answer, &out), 0);
    assert_int_equal(wp_wire_offered_get(out.data, out.size, back, NULL), 0);
    assert_int_equal(back->wanted[1], 19);
    assert_string_equal(back->receipts[0].receipt, "r");
    wp_bytes_release(&out);
    free(sent);
    free(got);
    free(answer);
    free(back);
}

static void a_heartbeat_goes_both_ways(void **state)
{
    (void)state;
    struct wp_wire_heartbeat *sent = calloc(1, sizeof *sent);
    struct wp_wire_heartbeat *got = calloc(1, sizeof *got);
    struct wp_bytes out;
    wp_bytes_init(&out, 65536);
    memcpy(sent->version, "0.1.0", 6);
    memcpy(sent->ledger.hash, HASH, sizeof HASH);
    sent->queue_count = 3;
    sent->folder_count = 2;
    memcpy(sent->folders[1].path, "/export", 8);
    sent->folders[1].ok = true;
    assert_int_equal(wp_wire_heartbeat_put(sent, &out), 0);
    assert_non_null(strstr(out.data, "\"oldest_us\":null"));
    assert_int_equal(wp_wire_heartbeat_get(out.data, out.size, got, NULL), 0);
    assert_memory_equal(got, sent, sizeof *sent);
    sent->has_oldest = true;
    sent->oldest_us = 42;
    wp_bytes_clear(&out);
    assert_int_equal(wp_wire_heartbeat_put(sent, &out), 0);
    assert_int_equal(wp_wire_heartbeat_get(out.data, out.size, got, NULL), 0);
    assert_int_equal(got->oldest_us, 42);
    wp_bytes_release(&out);
    free(sent);
    free(got);
}

static void events_go_both_ways_and_unknown_kinds_are_refused(void **state)
{
    (void)state;
    struct wp_wire_events *sent = calloc(1, sizeof *sent);
    struct wp_wire_events *got = calloc(1, sizeof *got);
    struct wp_bytes out;
    static const char wrong[] = "{\"events\":[{\"kind\":\"party\",\"at_us\":0,\"text\":\"\"}]}";
    wp_bytes_init(&out, 65536);
    sent->count = WP_EVENT_KINDS;
    for (size_t i = 0; i < sent->count; i++)
        sent->events[i].kind = (enum wp_wire_event_kind)i;
    assert_int_equal(wp_wire_events_put(sent, &out), 0);
    assert_int_equal(wp_wire_events_get(out.data, out.size, got, NULL), 0);
    assert_int_equal(got->events[8].kind, WP_EVENT_UNREADABLE);
    assert_int_equal(wp_wire_events_get(wrong, sizeof wrong - 1, got, NULL), WP_INVALID);
    wp_bytes_release(&out);
    free(sent);
    free(got);
}

static void a_problem_is_told_on_one_line(void **state)
{
    (void)state;
    static const char problem[] = "{\"title\":\"t\",\"detail\":\"a\\nb\"}";
    char out[WP_WIRE_TEXT];
    wp_wire_problem_text(problem, sizeof problem - 1, out);
    assert_string_equal(out, "a\xEF\xBF\xBD"
                             "b");
    wp_wire_problem_text("<html>", 6, out);
    assert_string_equal(out, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_join_string_is_read_and_written),
        cmocka_unit_test(malformed_join_strings_are_refused),
        cmocka_unit_test(a_pin_is_turned_into_curls_form),
        cmocka_unit_test(a_capture_field_goes_both_ways),
        cmocka_unit_test(a_path_too_long_for_the_field_keeps_its_end),
        cmocka_unit_test(paths_of_any_bytes_become_text),
        cmocka_unit_test(whole_numbers_are_written_as_such),
        cmocka_unit_test(the_documents_examples_are_read),
        cmocka_unit_test(unsound_documents_are_refused),
        cmocka_unit_test(an_offer_and_its_answer_go_both_ways_and_are_bounded),
        cmocka_unit_test(a_heartbeat_goes_both_ways),
        cmocka_unit_test(events_go_both_ways_and_unknown_kinds_are_refused),
        cmocka_unit_test(a_problem_is_told_on_one_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
