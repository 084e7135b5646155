#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "archive/mover.h"
#include "base/clock.h"
#include "sample.h"

static void take(struct sample *sample, int from, int to, size_t size)
{
    for (int i = from; i < to; i++) {
        struct sample_capture capture = {.number = i, .size = size};
        if (sample->started)
            assert_int_equal(wp_db_write_wait(sample->db, sample_take, &capture), WP_OK);
        else
            assert_int_equal(wp_db_write_now(sample->db, sample_take, &capture), WP_OK);
    }
}

static void wait_until_staged(struct sample *sample, struct wp_mover *mover, int64_t left)
{
    int64_t until = wp_clock_steady() + 20 * WP_SECOND;
    while (sample_staged(sample) != left) {
        assert_true(wp_clock_steady() < until);
        wp_mover_kick(mover);
        uv_sleep(10);
    }
}

static void assert_readable(struct sample *sample, int from, int to, size_t size)
{
    struct wp_sql *sql;
    assert_int_equal(wp_db_reader(sample->db, &sql, NULL), WP_OK);
    for (int i = from; i < to; i++) {
        unsigned char digest[WP_SHA256_SIZE];
        struct wp_bytes bytes;
        char *wanted = sample_bytes(i, size, digest);
        wp_bytes_init(&bytes, size);
        assert_int_equal(wp_object_get(sql, sample->store, digest, &bytes, NULL), WP_OK);
        assert_int_equal(bytes.size, size);
        assert_memory_equal(bytes.data, wanted, size);
        wp_bytes_release(&bytes);
        free(wanted);
    }
    wp_sql_close(sql);
}

static void objects_move_into_the_store_and_stay_readable(void **state)
{
    (void)state;
    struct sample sample;
    struct wp_mover *mover;
    struct wp_mover_counts counts;
    assert_true(sample_open(&sample));
    take(&sample, 0, 150, 2000);
    assert_readable(&sample, 0, 150, 2000);
    sample_start(&sample);
    assert_int_equal(wp_mover_start(sample.db, sample.store, &mover, NULL), WP_OK);
    wait_until_staged(&sample, mover, 0);
    assert_readable(&sample, 0, 150, 2000);
    take(&sample, 150, 160, 5);
    wait_until_staged(&sample, mover, 0);
    assert_readable(&sample, 150, 160, 5);
    /* It counts a batch a moment after its commit. */
    int64_t until = wp_clock_steady() + 20 * WP_SECOND;
    do {
        uv_sleep(1);
        wp_mover_count(mover, &counts);
    } while (counts.objects < 160 && wp_clock_steady() < until);
    assert_int_equal(counts.objects, 160);
    assert_in_range(counts.batches, 2, 20);
    assert_int_equal(counts.damaged, 0);
    wp_mover_stop(mover);
    wp_mover_stop(NULL);
    sample_close(&sample);
    sample_remove(&sample);
}

/* Every state that a crash can leave is one in which the object is staged. */
static void a_mover_that_was_killed_starts_over(void **state)
{
    (void)state;
    struct sample sample;
    struct wp_mover *mover;
    assert_true(sample_open(&sample));
    take(&sample, 0, 3, 1000);
    unsigned char digest[WP_SHA256_SIZE];
    char *whole = sample_bytes(0, 1000, digest);
    assert_int_equal(sample.store->ops->put(sample.store, digest, whole, 1000, NULL), WP_OK);
    free(whole);
    /* A file under the right name whose bytes the power failure took. */
    char *torn = sample_bytes(1, 1000, digest);
    assert_int_equal(sample.store->ops->put(sample.store, digest, torn, 10, NULL), WP_OK);
    free(torn);
    sample_start(&sample);
    assert_int_equal(wp_mover_start(sample.db, sample.store, &mover, NULL), WP_OK);
    wait_until_staged(&sample, mover, 0);
    wp_mover_stop(mover);
    assert_readable(&sample, 0, 3, 1000);
    assert_int_equal(sample.store->ops->check(sample.store, digest), WP_OK);
    sample_close(&sample);
    sample_remove(&sample);
}

static enum wp_status damage(struct wp_txn *txn, void *digest)
{
    return wp_sql_run(txn->sql, "UPDATE staged SET body = x'00' WHERE sha256 = ?", "b", digest,
                      (size_t)WP_SHA256_SIZE);
}

static void damaged_bytes_do_not_reach_the_store_nor_block_others(void **state)
{
    (void)state;
    struct sample sample;
    struct wp_mover *mover;
    unsigned char digest[WP_SHA256_SIZE];
    assert_true(sample_open(&sample));
    take(&sample, 0, 70, 100);
    free(sample_bytes(7, 100, digest));
    assert_int_equal(wp_db_write_now(sample.db, damage, digest), WP_OK);
    sample_start(&sample);
    assert_int_equal(wp_mover_start(sample.db, sample.store, &mover, NULL), WP_OK);
    wait_until_staged(&sample, mover, 1);
    assert_readable(&sample, 8, 70, 100);
    struct wp_sql *sql;
    struct wp_bytes bytes;
    struct wp_error error;
    wp_bytes_init(&bytes, 1000);
    assert_int_equal(wp_db_reader(sample.db, &sql, NULL), WP_OK);
    assert_int_equal(wp_object_get(sql, sample.store, digest, &bytes, &error), WP_IO);
    assert_non_null(strstr(error.text, "damaged"));
    assert_int_equal(bytes.size, 0);
    assert_false(sample.store->ops->has(sample.store, digest));
    wp_bytes_release(&bytes);
    wp_sql_close(sql);
    wp_mover_stop(mover);
    sample_close(&sample);
    sample_remove(&sample);
}

static int broken_calls;

static void on_broken(void *arg)
{
    (void)arg;
    broken_calls++;
}

static enum wp_status sync_fails(struct wp_store *store, struct wp_error *error)
{
    (void)store;
    return wp_fail(error, WP_BROKEN, "the disk is gone");
}

/* A store of which only the sync is wrong. */
static void a_failed_sync_keeps_the_copies_and_stops_the_database(void **state)
{
    (void)state;
    struct sample sample;
    struct wp_mover *mover;
    assert_true(sample_open(&sample));
    wp_db_close(sample.db);
    struct wp_db_options options = {.folder = sample.folder, .broken = on_broken};
    assert_int_equal(wp_db_open(&options, &sample.db, NULL), WP_OK);
    take(&sample, 0, 3, 1000);
    sample_start(&sample);
    const struct wp_store_ops *whole = sample.store->ops;
    struct wp_store_ops ops = *whole;
    ops.sync = sync_fails;
    sample.store->ops = &ops;
    assert_int_equal(wp_mover_start(sample.db, sample.store, &mover, NULL), WP_OK);
    int64_t until = wp_clock_steady() + 20 * WP_SECOND;
    while (!broken_calls) {
        assert_true(wp_clock_steady() < until);
        (void)uv_run(&sample.loop, UV_RUN_NOWAIT);
        uv_sleep(5);
    }
    wp_mover_stop(mover);
    assert_int_equal(sample_staged(&sample), 3);
    sample.store->ops = whole;
    sample_close(&sample);
    assert_true(sample_reopen(&sample));
    assert_int_equal(sample_staged(&sample), 3);
    assert_readable(&sample, 0, 3, 1000);
    sample_close(&sample);
    sample_remove(&sample);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(objects_move_into_the_store_and_stay_readable),
        cmocka_unit_test(a_mover_that_was_killed_starts_over),
        cmocka_unit_test(damaged_bytes_do_not_reach_the_store_nor_block_others),
        cmocka_unit_test(a_failed_sync_keeps_the_copies_and_stops_the_database),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
