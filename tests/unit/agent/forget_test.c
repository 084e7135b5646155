/* The record of files seen: what is gone for long is forgotten, and nothing else. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/clock.h"
#include "watch_parts.h"

#define DAY (INT64_C(24) * 3600 * 1000000)
#define FOLDER 3
#define FILES 1000

static char folder[] = "/tmp/wavepost-forget-XXXXXX";
static struct wp_watch *watch;

static void put(uint64_t key)
{
    struct wp_seen_pair pair = {key, key * 3};
    assert_int_equal(wp_seen_put(&watch->seen, key, pair.mark), WP_OK);
    assert_int_equal(wp_spool_mark(watch->options.spool, FOLDER, &pair, 1), WP_OK);
}

static int begin(void **state)
{
    static const unsigned char secret[16] = {1};
    (void)state;
    strcpy(folder + sizeof folder - 7, "XXXXXX");
    watch = calloc(1, sizeof *watch);
    if (!watch || !mkdtemp(folder) || wp_spool_open(folder, &watch->options.spool, NULL))
        return -1;
    watch->options.folder.id = FOLDER;
    wp_seen_init(&watch->seen, secret);
    for (uint64_t key = 1; key <= FILES; key++)
        put(key * 0x9E3779B97F4A7C15U);
    return 0;
}

static int end(void **state)
{
    static const char *const names[] = {"spool.db", "spool.db-wal", "spool.db-shm"};
    (void)state;
    wp_spool_close(watch->options.spool);
    wp_seen_release(&watch->seen);
    free(watch);
    for (size_t i = 0; i < 3; i++) {
        char path[128];
        (void)snprintf(path, sizeof path, "%s/%s", folder, names[i]);
        (void)unlink(path);
    }
    return rmdir(folder);
}

/* A pass in which only the first `there` files are met. */
static void pass(uint64_t there)
{
    forget_begin(watch);
    for (uint64_t key = there; key >= 1; key--)
        forget_meet(watch, key * 0x9E3779B97F4A7C15U);
    forget_end(watch);
    forget_drop(watch);
}

static bool count_one(void *arg, uint64_t key, uint64_t mark)
{
    assert_int_equal(mark, key * 3);
    ++*(size_t *)arg;
    return true;
}

static size_t kept(void)
{
    size_t count = 0;
    assert_int_equal(wp_spool_each_seen(watch->options.spool, FOLDER, count_one, &count), WP_OK);
    return count;
}

/* As wp_spool_gone is called on that day, with the files above `there` gone. */
static size_t day(int64_t at, uint64_t there)
{
    uint64_t keys[FILES];
    size_t count = 0;
    size_t forgotten = 0;
    for (uint64_t key = there + 1; key <= FILES; key++)
        keys[count++] = key * 0x9E3779B97F4A7C15U;
    for (size_t i = 1; i < count; i++) /* in rising order */
        for (size_t k = i; k > 0 && keys[k - 1] > keys[k]; k--) {
            uint64_t held = keys[k];
            keys[k] = keys[k - 1];
            keys[k - 1] = held;
        }
    assert_int_equal(wp_spool_gone(watch->options.spool, FOLDER, at, keys, count, &forgotten),
                     WP_OK);
    for (size_t i = 1; i < forgotten; i++)
        assert_true(keys[i - 1] < keys[i]);
    return forgotten;
}

static void gone_for_thirty_days_is_forgotten(void **state)
{
    (void)state;
    for (int64_t at = 0; at < 30; at++)
        assert_int_equal(day(at * DAY, 400), 0);
    assert_int_equal(kept(), FILES);
    assert_int_equal(day(30 * DAY, 400), FILES - 400);
    assert_int_equal(kept(), 400);
    assert_int_equal(day(31 * DAY, 400), 0);
}

static void what_came_back_starts_anew(void **state)
{
    (void)state;
    for (int64_t at = 0; at < 29; at++)
        assert_int_equal(day(at * DAY, 400), 0);
    assert_int_equal(day(29 * DAY, FILES), 0);
    for (int64_t at = 30; at < 50; at++)
        assert_int_equal(day(at * DAY, 400), 0);
    assert_int_equal(kept(), FILES);
}

static void neither_a_clock_that_jumps_nor_many_restarts_forget(void **state)
{
    (void)state;
    assert_int_equal(day(0, 400), 0);
    assert_int_equal(day(40000 * DAY, 400), 0);
    for (int i = 0; i < 100; i++)
        assert_int_equal(day(3 * DAY, 400), 0);
    assert_int_equal(kept(), FILES);
}

static void a_pass_finds_what_the_walk_did_not_meet(void **state)
{
    (void)state;
    for (int i = 0; i < WP_GONE_PASSES; i++)
        pass(400);
    assert_int_equal(watch->seen.count, FILES); /* all on one day */
    assert_int_equal(day(wp_clock_utc() + 31 * DAY, 400), FILES - 400);
}

static void an_empty_folder_forgets_nothing(void **state)
{
    (void)state;
    for (int i = 0; i <= WP_GONE_PASSES; i++)
        pass(0);
    assert_int_equal(day(40000 * DAY, FILES), 0);
    assert_int_equal(kept(), FILES);
}

static void dropping_keeps_the_rest_and_gives_room_back(void **state)
{
    (void)state;
    uint64_t keys[FILES];
    size_t count = 0;
    size_t room = watch->seen.room;
    for (size_t i = 0; i < room; i++)
        if (watch->seen.slots[i].key && watch->seen.slots[i].mark % 10 != 0)
            keys[count++] = watch->seen.slots[i].key;
    for (size_t i = 1; i < count; i++)
        for (size_t k = i; k > 0 && keys[k - 1] > keys[k]; k--) {
            uint64_t held = keys[k];
            keys[k] = keys[k - 1];
            keys[k - 1] = held;
        }
    wp_seen_drop(&watch->seen, keys, count);
    assert_int_equal(watch->seen.count, FILES - count);
    assert_true(watch->seen.room < room);
    for (uint64_t key = 1; key <= FILES; key++) {
        uint64_t whole = key * 0x9E3779B97F4A7C15U;
        const struct wp_seen_pair *pair = wp_seen_find(&watch->seen, whole);
        assert_true(pair ? pair->mark % 10 == 0 && pair->mark == whole * 3 : whole * 3 % 10 != 0);
    }
}

int main(void)
{
#define WITH_FILES(name) cmocka_unit_test_setup_teardown(name, begin, end)
    const struct CMUnitTest tests[] = {
        WITH_FILES(gone_for_thirty_days_is_forgotten),
        WITH_FILES(what_came_back_starts_anew),
        WITH_FILES(neither_a_clock_that_jumps_nor_many_restarts_forget),
        WITH_FILES(a_pass_finds_what_the_walk_did_not_meet),
        WITH_FILES(an_empty_folder_forgets_nothing),
        WITH_FILES(dropping_keeps_the_rest_and_gives_room_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
