/* Disks that are full and disks that fail. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "disk.h"
#include "folder.h"

static struct {
    atomic_int full_above; /* writes of the log beyond this many bytes fail; 0: none */
    atomic_bool sync_fails;
    atomic_int touched; /* calls that change files */
} disk;

static bool is_log(const char *path)
{
    size_t length = strlen(path);
    return length > 4 && strcmp(path + length - 4, "-wal") == 0;
}

static int on_write(void *arg, const char *path, const void *data, int size, int64_t at)
{
    (void)arg;
    (void)data;
    atomic_fetch_add(&disk.touched, 1);
    int most = atomic_load(&disk.full_above);
    return most && is_log(path) && at + size > most ? SQLITE_FULL : SQLITE_OK;
}

static int on_sync(void *arg, const char *path)
{
    (void)arg;
    atomic_fetch_add(&disk.touched, 1);
    return atomic_load(&disk.sync_fails) && is_log(path) ? SQLITE_IOERR_FSYNC : SQLITE_OK;
}

static const struct disk_hooks hooks = {.write = on_write, .sync = on_sync};

static void count_call(void *arg)
{
    ++*(int *)arg;
}

static void write_one(struct wp_db *db, uv_loop_t *loop, const char *name, size_t size,
                      enum wp_status wanted)
{
    struct test_row row = {.size = size};
    (void)snprintf(row.name, sizeof row.name, "%s", name);
    assert_int_equal(wp_db_write(db, test_insert, test_answered, &row), WP_OK);
    test_turn(loop, &row, 1);
    assert_int_equal(row.status, wanted);
}

static int64_t count_rows(const char *folder)
{
    struct wp_db *db;
    int64_t count = -1;
    assert_int_equal(wp_db_open(&(struct wp_db_options){.folder = folder}, &db, NULL), WP_OK);
    assert_int_equal(wp_db_read_now(db, test_count, &count), WP_OK);
    wp_db_close(db);
    return count;
}

static void a_full_disk_refuses_the_write_and_recovers(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    int broken = 0;
    struct wp_db *db =
        test_db_open(folder, &loop, &(struct wp_db_options){.broken = count_call, .arg = &broken});
    write_one(db, &loop, "rowa", 10, WP_OK);
    atomic_store(&disk.full_above, 1);
    write_one(db, &loop, "rowb", 10, WP_FULL);
    write_one(db, &loop, "rowb", 10, WP_FULL);
    atomic_store(&disk.full_above, 0);
    write_one(db, &loop, "rowb", 10, WP_OK);
    write_one(db, &loop, "rowc", 10, WP_OK);
    assert_int_equal(broken, 0);
    test_db_close(db, &loop);
    assert_int_equal(count_rows(folder), 3);
    test_folder_free(folder);
}

/* Then whatever is queued next shares one group. */
static void wait_until_taken(struct wp_db *db)
{
    struct wp_db_counts counts = {.waiting = 1};
    for (int i = 0; i < 5000 && counts.waiting; i++) {
        uv_sleep(1);
        wp_db_count(db, &counts);
    }
    assert_int_equal(counts.waiting, 0);
}

/* The large job outgrows the page cache, so the disk is full inside the job and SQLite ends the
 * whole transaction. The jobs around it must not be lost with it. */
static void a_job_that_fills_the_disk_does_not_take_its_group_with_it(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    uv_sem_t gate;
    assert_int_equal(uv_sem_init(&gate, 0), 0);
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    struct test_row rows[5] = {
        {.gate = &gate}, {.size = 10}, {.size = 10}, {.size = 60 << 20}, {.size = 10}};
    for (int i = 0; i < 5; i++) {
        (void)snprintf(rows[i].name, sizeof rows[i].name, "row%d", i);
        assert_int_equal(wp_db_write(db, test_insert, test_answered, &rows[i]), WP_OK);
        if (i == 0)
            wait_until_taken(db);
    }
    atomic_store(&disk.full_above, 8 << 20);
    uv_sem_post(&gate);
    test_turn(&loop, rows, 5);
    atomic_store(&disk.full_above, 0);
    for (int i = 0; i < 5; i++)
        assert_int_equal(rows[i].status, i == 3 ? WP_FULL : WP_OK);
    assert_int_equal(rows[1].runs, 2);
    test_db_close(db, &loop);
    assert_int_equal(count_rows(folder), 4);
    uv_sem_destroy(&gate);
    test_folder_free(folder);
}

static void a_failed_sync_is_final(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    int broken = 0;
    struct wp_db *db =
        test_db_open(folder, &loop, &(struct wp_db_options){.broken = count_call, .arg = &broken});
    write_one(db, &loop, "rowa", 10, WP_OK);
    atomic_store(&disk.sync_fails, true);
    write_one(db, &loop, "rowb", 10, WP_BROKEN);
    atomic_store(&disk.sync_fails, false);
    int touched = atomic_load(&disk.touched);
    write_one(db, &loop, "rowc", 10, WP_BROKEN);
    write_one(db, &loop, "rowd", 10, WP_BROKEN);
    assert_int_equal(atomic_load(&disk.touched), touched);
    (void)uv_run(&loop, UV_RUN_NOWAIT);
    assert_int_equal(broken, 1);
    test_db_close(db, &loop);
    /* What failed to sync may or may not be there; what was promised is, what was not tried is not.
     */
    assert_in_range(count_rows(folder), 1, 2);
    test_folder_free(folder);
}

static int start(void **state)
{
    (void)state;
    return disk_install(&hooks);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_full_disk_refuses_the_write_and_recovers),
        cmocka_unit_test(a_job_that_fills_the_disk_does_not_take_its_group_with_it),
        cmocka_unit_test(a_failed_sync_is_final),
    };
    return cmocka_run_group_tests(tests, start, NULL);
}
