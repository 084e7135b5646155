#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "backoff.h"
#include "seen.h"
#include "settle.h"

static const struct wp_settle_rule rule = {
    .quiet_us = 400000, .early_us = 100000, .empty_us = 5000000};

static void a_file_settles_when_it_has_not_changed_for_the_settling_time(void **state)
{
    (void)state;
    struct wp_settle settle = {.begun = false};
    struct wp_look look = {.size = 10, .mtime_ns = 1, .ctime_ns = 1, .inode = 7};
    struct wp_settle_rule late = rule;
    int64_t due = 0;
    late.early_us = 0;
    assert_int_equal(wp_settle_see(&settle, &late, &look, 1000, &due), WP_SETTLING);
    assert_int_equal(due, 401000);
    assert_int_equal(wp_settle_see(&settle, &late, &look, 400999, &due), WP_SETTLING);
    assert_int_equal(wp_settle_see(&settle, &late, &look, 401000, &due), WP_SETTLED);
}

static void any_change_begins_the_settling_anew(void **state)
{
    (void)state;
    struct wp_look looks[] = {
        {10, 1, 1, 7}, {11, 1, 1, 7}, {11, 2, 1, 7}, {11, 2, 2, 7}, {11, 2, 2, 8}};
    struct wp_settle settle = {.begun = false};
    int64_t due = 0;
    for (int64_t i = 0; i < 5; i++) {
        enum wp_settled settled = wp_settle_see(&settle, &rule, &looks[i], i * 399999, &due);
        assert_int_not_equal(settled, WP_SETTLED);
        assert_int_equal(settle.since_us, i * 399999);
    }
}

static void it_may_be_tried_early_once_in_each_state(void **state)
{
    (void)state;
    struct wp_settle settle = {.begun = false};
    struct wp_look look = {.size = 10, .mtime_ns = 1};
    int64_t due = 0;
    assert_int_equal(wp_settle_see(&settle, &rule, &look, 0, &due), WP_SETTLING);
    assert_int_equal(due, 100000);
    assert_int_equal(wp_settle_see(&settle, &rule, &look, 100000, &due), WP_SETTLE_EARLY);
    assert_int_equal(due, 400000);
    assert_int_equal(wp_settle_see(&settle, &rule, &look, 200000, &due), WP_SETTLING);
    look.size = 11;
    assert_int_equal(wp_settle_see(&settle, &rule, &look, 300000, &due), WP_SETTLING);
    assert_int_equal(wp_settle_see(&settle, &rule, &look, 400000, &due), WP_SETTLE_EARLY);
}

static void an_empty_file_waits_longer(void **state)
{
    (void)state;
    struct wp_settle settle = {.begun = false};
    struct wp_look look = {.size = 0, .mtime_ns = 1};
    int64_t due = 0;
    assert_int_equal(wp_settle_see(&settle, &rule, &look, 0, &due), WP_SETTLING);
    assert_int_equal(wp_settle_see(&settle, &rule, &look, 4999999, &due), WP_SETTLING);
    assert_int_equal(wp_settle_see(&settle, &rule, &look, 5000000, &due), WP_SETTLED);
}

static void waits_double_spread_and_have_a_bound(void **state)
{
    (void)state;
    struct wp_backoff backoff = {0};
    uint64_t most = 1000;
    for (int i = 0; i < 20; i++) {
        struct wp_backoff other = backoff;
        uint64_t low = wp_backoff_fail(&other, 0, 0);
        uint64_t high = wp_backoff_fail(&backoff, 0, (uint32_t)(most / 2));
        assert_int_equal(low, most / 2);
        assert_int_equal(high, most);
        most = most * 2 < 300000 ? most * 2 : 300000;
    }
    wp_backoff_reset(&backoff);
    assert_in_range(wp_backoff_fail(&backoff, 0, 12345), 500, 1000);
}

static void what_the_peer_asks_is_the_least(void **state)
{
    (void)state;
    struct wp_backoff backoff = {0};
    assert_int_equal(wp_backoff_fail(&backoff, 8, 0), 8000);
    assert_in_range(wp_backoff_fail(&backoff, 8, UINT32_MAX), 8000, 10000);
    assert_in_range(wp_backoff_fail(&backoff, 100000, UINT32_MAX), 3600000, 3630000);
}

static void files_seen_are_found_again_and_changes_told_apart(void **state)
{
    (void)state;
    static const unsigned char secret[16] = "a secret of test";
    struct wp_seen seen;
    struct wp_look look = {.size = 10, .mtime_ns = 1001, .ctime_ns = 1002, .inode = 7};
    char path[32];
    wp_seen_init(&seen, secret);
    assert_null(wp_seen_find(&seen, 1));
    for (int i = 0; i < 5000; i++) {
        snprintf(path, sizeof path, "a%d.jdx", i);
        look.size = i;
        assert_int_equal(wp_seen_put(&seen, wp_seen_key(&seen, path), wp_seen_mark(&seen, &look)),
                         WP_OK);
    }
    assert_int_equal(seen.count, 5000);
    for (int i = 0; i < 5000; i++) {
        snprintf(path, sizeof path, "a%d.jdx", i);
        look.size = i;
        const struct wp_seen_pair *pair = wp_seen_find(&seen, wp_seen_key(&seen, path));
        assert_non_null(pair);
        assert_int_equal(pair->mark, wp_seen_mark(&seen, &look));
    }
    uint64_t mark = wp_seen_mark(&seen, &look);
    look.ctime_ns++;
    assert_int_not_equal(mark, wp_seen_mark(&seen, &look));
    assert_true(wp_seen_same_content(mark, wp_seen_mark(&seen, &look)));
    assert_true(wp_seen_anywhere(&seen, wp_seen_mark(&seen, &look)));
    look.mtime_ns++;
    assert_false(wp_seen_same_content(mark, wp_seen_mark(&seen, &look)));
    assert_false(wp_seen_anywhere(&seen, wp_seen_mark(&seen, &look)));
    wp_seen_release(&seen);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_file_settles_when_it_has_not_changed_for_the_settling_time),
        cmocka_unit_test(any_change_begins_the_settling_anew),
        cmocka_unit_test(it_may_be_tried_early_once_in_each_state),
        cmocka_unit_test(an_empty_file_waits_longer),
        cmocka_unit_test(waits_double_spread_and_have_a_bound),
        cmocka_unit_test(what_the_peer_asks_is_the_least),
        cmocka_unit_test(files_seen_are_found_again_and_changes_told_apart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
