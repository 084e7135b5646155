#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "spool.h"

struct place {
    char folder[64];
    struct wp_spool *spool;
};

static int begin(void **state)
{
    struct place *place = calloc(1, sizeof *place);
    strcpy(place->folder, "/tmp/wavepost-spool-XXXXXX");
    *state = place;
    return !mkdtemp(place->folder) || wp_spool_open(place->folder, &place->spool, NULL);
}

static int end(void **state)
{
    static const char *const names[] = {"spool.db", "spool.db-wal", "spool.db-shm"};
    struct place *place = *state;
    wp_spool_close(place->spool);
    for (size_t i = 0; i < 3; i++) {
        char path[128];
        snprintf(path, sizeof path, "%s/%s", place->folder, names[i]);
        (void)unlink(path);
    }
    int left = rmdir(place->folder);
    free(place);
    return left;
}

static void reopen(struct place *place)
{
    wp_spool_close(place->spool);
    assert_int_equal(wp_spool_open(place->folder, &place->spool, NULL), WP_OK);
}

static enum wp_status add(struct wp_spool *spool, const char *path, size_t size, bool backfill,
                          int64_t *number)
{
    static struct wp_spool_capture capture;
    static char bytes[1 << 20];
    struct wp_seen_pair pair = {(uint64_t)-1 - (uint64_t)size, 2};
    memset(&capture, 0, sizeof capture);
    memset(bytes, 'x', sizeof bytes);
    strcpy(capture.path, path);
    capture.folder = 1;
    capture.size = (int64_t)size;
    capture.look = (struct wp_look){(int64_t)size, 1234567891, 5, 99};
    capture.captured_us = 1000;
    capture.backfill = backfill;
    (void)wp_sha256(bytes, size, capture.sha256);
    enum wp_status status = wp_spool_add(spool, &capture, bytes, &pair);
    if (number)
        *number = capture.number;
    return status;
}

static void numbers_rise_and_are_never_used_twice(void **state)
{
    struct place *place = *state;
    int64_t number = 0;
    for (int64_t i = 1; i <= 3; i++) {
        assert_int_equal(add(place->spool, "a", 10, false, &number), WP_OK);
        assert_int_equal(number, i);
        assert_int_equal(wp_spool_receipt(place->spool, number, "r", 1, "h"), WP_OK);
        reopen(place);
    }
}

static void what_waits_comes_in_order_with_backfill_last(void **state)
{
    struct place *place = *state;
    struct wp_spool_capture next = {0};
    static const int64_t expected[] = {2, 4, 1, 3};
    for (int i = 1; i <= 4; i++)
        assert_int_equal(add(place->spool, "a\n\"b", (size_t)i, i % 2 == 1, NULL), WP_OK);
    reopen(place);
    for (size_t i = 0; i < 4; i++) {
        assert_true(wp_spool_next_waiting(place->spool, &next));
        assert_int_equal(next.number, expected[i]);
        assert_string_equal(next.path, "a\n\"b");
    }
    assert_false(wp_spool_next_waiting(place->spool, &next));
}

static void the_bytes_are_kept_until_the_receipt(void **state)
{
    struct place *place = *state;
    struct wp_bytes bytes;
    struct wp_spool_load load;
    wp_bytes_init(&bytes, 1000);
    assert_int_equal(add(place->spool, "a", 300, false, NULL), WP_OK);
    reopen(place);
    assert_int_equal(wp_spool_bytes(place->spool, 1, &bytes), WP_OK);
    assert_int_equal(bytes.size, 300);
    wp_bytes_release(&bytes);
    wp_spool_load(place->spool, &load);
    assert_int_equal(load.waiting, 1);
    assert_int_equal(load.waiting_bytes, 300);
    assert_int_equal(load.oldest_us, 1000);
    assert_int_equal(wp_spool_receipt(place->spool, 1, "r", 7, "h"), WP_OK);
    assert_int_equal(wp_spool_receipt(place->spool, 1, "r", 7, "h"), WP_NOT_FOUND);
    assert_int_equal(wp_spool_bytes(place->spool, 1, &bytes), WP_NOT_FOUND);
    char ledger[64];
    wp_spool_text(place->spool, "ledger", ledger, sizeof ledger);
    assert_string_equal(ledger, "7 h");
}

static void at_the_limit_nothing_is_taken_and_nothing_evicted(void **state)
{
    struct place *place = *state;
    struct wp_spool_load load;
    assert_int_equal(wp_spool_set_whole(place->spool, "spool_limit", 1000), WP_OK);
    assert_int_equal(add(place->spool, "a", 600, false, NULL), WP_OK);
    assert_int_equal(add(place->spool, "b", 401, false, NULL), WP_FULL);
    assert_int_equal(add(place->spool, "b", 400, false, NULL), WP_OK);
    reopen(place);
    assert_int_equal(add(place->spool, "c", 1, false, NULL), WP_FULL);
    wp_spool_load(place->spool, &load);
    assert_int_equal(load.waiting, 2);
    assert_int_equal(wp_spool_receipt(place->spool, 1, "r", 1, "h"), WP_OK);
    assert_int_equal(add(place->spool, "c", 600, false, NULL), WP_OK);
}

static void the_same_state_of_a_file_is_known_again(void **state)
{
    struct place *place = *state;
    struct wp_spool_capture capture = {.folder = 1, .size = 5, .look = {5, 1234567891, 77, 99}};
    (void)wp_sha256("xxxxx", 5, capture.sha256);
    assert_false(wp_spool_known(place->spool, &capture));
    assert_int_equal(add(place->spool, "a", 5, false, NULL), WP_OK);
    assert_true(wp_spool_known(place->spool, &capture));
    capture.look.mtime_ns++;
    assert_false(wp_spool_known(place->spool, &capture));
    capture.look.mtime_ns--;
    (void)wp_sha256("xxxxy", 5, capture.sha256);
    assert_false(wp_spool_known(place->spool, &capture));
}

static void refused_captures_are_kept_with_their_reason_and_may_be_forgiven(void **state)
{
    struct place *place = *state;
    struct wp_spool_capture capture = {0};
    struct wp_spool_load load;
    char reason[64];
    assert_int_equal(add(place->spool, "a", 5, false, NULL), WP_OK);
    assert_int_equal(wp_spool_refuse(place->spool, 1, "too large"), WP_OK);
    assert_false(wp_spool_next_waiting(place->spool, &capture));
    assert_true(wp_spool_next_refused(place->spool, &capture, reason, sizeof reason));
    assert_string_equal(reason, "too large");
    wp_spool_load(place->spool, &load);
    assert_int_equal(load.refused, 1);
    assert_int_equal(load.refused_bytes, 5);
    assert_int_equal(wp_spool_forgive(place->spool), WP_OK);
    capture = (struct wp_spool_capture){0};
    assert_true(wp_spool_next_waiting(place->spool, &capture));
}

static void a_capture_whose_number_is_taken_gets_one_far_beyond_and_waits_on(void **state)
{
    struct place *place = *state;
    struct wp_spool_capture capture = {0};
    struct wp_spool_load load;
    struct wp_bytes bytes;
    assert_int_equal(add(place->spool, "a", 5, false, NULL), WP_OK);
    assert_int_equal(wp_spool_renumber(place->spool, 1), WP_OK);
    assert_int_equal(wp_spool_renumber(place->spool, 1), WP_NOT_FOUND);
    assert_true(wp_spool_next_waiting(place->spool, &capture));
    assert_int_equal(capture.number, 1000001);
    wp_bytes_init(&bytes, 100);
    assert_int_equal(wp_spool_bytes(place->spool, 1000001, &bytes), WP_OK);
    assert_int_equal(bytes.size, 5);
    wp_bytes_release(&bytes);
    wp_spool_load(place->spool, &load);
    assert_int_equal(load.waiting, 1);
    assert_int_equal(add(place->spool, "b", 5, false, NULL), WP_OK);
    assert_int_equal(wp_spool_renumber(place->spool, 1000001), WP_OK);
    capture = (struct wp_spool_capture){0};
    assert_true(wp_spool_next_waiting(place->spool, &capture));
    assert_int_equal(capture.number, 1000002);
    assert_true(wp_spool_next_waiting(place->spool, &capture));
    assert_int_equal(capture.number, 2000001);
}

static bool count_seen(void *arg, uint64_t key, uint64_t mark)
{
    (void)key;
    (void)mark;
    ++*(int *)arg;
    return true;
}

static void folders_patterns_and_marks_last(void **state)
{
    struct place *place = *state;
    struct wp_spool_folder folder = {0};
    struct wp_seen_pair pairs[] = {{1, 2}, {UINT64_MAX, 4}, {1, 5}};
    char text[64];
    bool exclude = false;
    int count = 0;
    assert_int_equal(wp_spool_put_folder(place->spool, "/a\xFF", true, 5), WP_OK);
    assert_int_equal(wp_spool_put_folder(place->spool, "/b", false, 6), WP_OK);
    assert_int_equal(wp_spool_add_pattern(place->spool, "x/*", true), WP_OK);
    reopen(place);
    assert_true(wp_spool_next_folder(place->spool, &folder));
    assert_string_equal(folder.path, "/a\xFF");
    assert_true(folder.backfill);
    assert_false(folder.ready);
    assert_int_equal(wp_spool_mark(place->spool, folder.id, pairs, 3), WP_OK);
    assert_int_equal(wp_spool_each_seen(place->spool, folder.id, count_seen, &count), WP_OK);
    assert_int_equal(count, 2);
    assert_true(wp_spool_pattern(place->spool, 0, text, sizeof text, &exclude));
    assert_string_equal(text, "x/*");
    assert_true(exclude);
    assert_false(wp_spool_pattern(place->spool, 1, text, sizeof text, &exclude));
    assert_int_equal(wp_spool_drop_folder(place->spool, "/a\xFF"), WP_OK);
    folder.id = 0;
    assert_true(wp_spool_next_folder(place->spool, &folder));
    assert_string_equal(folder.path, "/b");
}

static void a_spool_that_is_not_there_or_no_database_is_refused(void **state)
{
    struct place *place = *state;
    struct wp_spool *other = NULL;
    struct wp_error error;
    char path[128];
    assert_int_equal(wp_spool_open_to_read("/nowhere", &other, &error), WP_NOT_FOUND);
    wp_spool_close(place->spool);
    place->spool = NULL;
    snprintf(path, sizeof path, "%s/spool.db", place->folder);
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    for (int i = 0; i < 5000; i++)
        fputs("not a database ", file);
    fclose(file);
    assert_int_equal(wp_spool_open(place->folder, &other, &error), WP_BROKEN);
    assert_non_null(strstr(error.text, "spool.db"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(numbers_rise_and_are_never_used_twice, begin, end),
        cmocka_unit_test_setup_teardown(what_waits_comes_in_order_with_backfill_last, begin, end),
        cmocka_unit_test_setup_teardown(the_bytes_are_kept_until_the_receipt, begin, end),
        cmocka_unit_test_setup_teardown(at_the_limit_nothing_is_taken_and_nothing_evicted, begin,
                                        end),
        cmocka_unit_test_setup_teardown(the_same_state_of_a_file_is_known_again, begin, end),
        cmocka_unit_test_setup_teardown(
            refused_captures_are_kept_with_their_reason_and_may_be_forgiven, begin, end),
        cmocka_unit_test_setup_teardown(folders_patterns_and_marks_last, begin, end),
        cmocka_unit_test_setup_teardown(
            a_capture_whose_number_is_taken_gets_one_far_beyond_and_waits_on, begin, end),
        cmocka_unit_test_setup_teardown(a_spool_that_is_not_there_or_no_database_is_refused, begin,
                                        end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
