#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include <cmocka.h>

#include "folder.h"

static void queue(struct wp_db *db, struct test_row *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        (void)snprintf(rows[i].name, sizeof rows[i].name, "row%zu", i);
        assert_int_equal(wp_db_write(db, test_insert, test_answered, &rows[i]), WP_OK);
    }
}

/* Counts what a process finds that opens the folder afterwards. */
static int64_t count_after_reopening(const char *folder)
{
    struct wp_db *db;
    int64_t count = -1;
    assert_int_equal(wp_db_open(&(struct wp_db_options){.folder = folder}, &db, NULL), WP_OK);
    assert_int_equal(wp_db_read_now(db, test_count, &count), WP_OK);
    wp_db_close(db);
    return count;
}

static void jobs_that_queue_together_share_a_commit(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    uv_sem_t gate;
    assert_int_equal(uv_sem_init(&gate, 0), 0);
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    static struct test_row rows[200];
    rows[0].gate = &gate;
    queue(db, rows, 200);
    uv_sem_post(&gate);
    test_turn(&loop, rows, 200);
    struct wp_db_counts counts;
    wp_db_count(db, &counts);
    assert_int_equal(counts.jobs, 200);
    assert_int_equal(counts.waiting, 0);
    /* The gate holds the first group open; behind it 128 are the most a commit takes. */
    assert_in_range(counts.commits, 2, 4);
    for (int i = 0; i < 200; i++) {
        assert_int_equal(rows[i].status, WP_OK);
        assert_int_equal(rows[i].answers, 1);
        assert_int_equal(rows[i].runs, 1);
    }
    test_db_close(db, &loop);
    assert_int_equal(count_after_reopening(folder), 200);
    uv_sem_destroy(&gate);
    test_folder_free(folder);
}

static void a_job_that_fails_is_undone_alone(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    uv_sem_t gate;
    assert_int_equal(uv_sem_init(&gate, 0), 0);
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    struct test_row rows[5] = {{.gate = &gate}, {.own = WP_OK}, {.own = WP_CONFLICT}};
    queue(db, rows, 4);
    (void)snprintf(rows[4].name, sizeof rows[4].name, "row1");
    assert_int_equal(wp_db_write(db, test_insert, test_answered, &rows[4]), WP_OK);
    uv_sem_post(&gate);
    test_turn(&loop, rows, 5);
    assert_int_equal(rows[1].status, WP_OK);
    assert_int_equal(rows[2].status, WP_CONFLICT);
    assert_int_equal(rows[3].status, WP_OK);
    assert_int_equal(rows[4].status, WP_CONSTRAINT);
    test_db_close(db, &loop);
    assert_int_equal(count_after_reopening(folder), 3);
    uv_sem_destroy(&gate);
    test_folder_free(folder);
}

static void a_job_that_fails_may_keep_what_it_wrote(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    struct test_row rows[2] = {{.own = WP_CONFLICT, .keep = true}, {.own = WP_CONFLICT}};
    queue(db, rows, 2);
    test_turn(&loop, rows, 2);
    assert_int_equal(rows[0].status, WP_CONFLICT);
    assert_int_equal(rows[1].status, WP_CONFLICT);
    test_db_close(db, &loop);
    assert_int_equal(count_after_reopening(folder), 1);
    test_folder_free(folder);
}

static void large_jobs_make_smaller_groups(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    uv_sem_t gate;
    assert_int_equal(uv_sem_init(&gate, 0), 0);
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    struct test_row rows[25] = {{.gate = &gate}};
    for (int i = 1; i < 25; i++)
        rows[i].size = 1 << 20;
    queue(db, rows, 25);
    uv_sem_post(&gate);
    test_turn(&loop, rows, 25);
    struct wp_db_counts counts;
    wp_db_count(db, &counts);
    assert_in_range(counts.commits, 3, 6);
    for (int i = 0; i < 25; i++) {
        assert_int_equal(rows[i].status, WP_OK);
        assert_int_equal(rows[i].runs, 1);
    }
    test_db_close(db, &loop);
    assert_int_equal(count_after_reopening(folder), 25);
    uv_sem_destroy(&gate);
    test_folder_free(folder);
}

static void count_call(void *arg)
{
    ++*(int *)arg;
}

static void a_full_lane_refuses_and_tells_when_it_has_room(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    uv_sem_t gate;
    int rooms = 0;
    int commits = 0;
    assert_int_equal(uv_sem_init(&gate, 0), 0);
    struct wp_db *db = test_db_open(
        folder, &loop,
        &(struct wp_db_options){.queue_most = 3, .committed = count_call, .arg = &commits});
    wp_db_on_room(db, count_call, &rooms);
    struct test_row rows[4] = {{.gate = &gate}};
    queue(db, rows, 3);
    assert_int_equal(wp_db_write(db, test_insert, test_answered, &rows[3]), WP_RETRY);
    uv_sem_post(&gate);
    test_turn(&loop, rows, 3);
    assert_int_equal(rooms, 1);
    assert_true(commits >= 1);
    assert_int_equal(rows[3].runs, 0);
    test_db_close(db, &loop);
    uv_sem_destroy(&gate);
    test_folder_free(folder);
}

static void closing_answers_everything_that_was_queued(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    static struct test_row rows[300];
    queue(db, rows, 300);
    wp_db_close(db);
    for (int i = 0; i < 300; i++) {
        assert_int_equal(rows[i].answers, 1);
        assert_int_equal(rows[i].status, WP_OK);
    }
    assert_int_equal(uv_run(&loop, UV_RUN_DEFAULT), 0);
    assert_int_equal(uv_loop_close(&loop), 0);
    assert_int_equal(count_after_reopening(folder), 300);
    test_folder_free(folder);
}

struct mover {
    struct wp_db *db;
    struct test_row row;
    enum wp_status status;
};

static void write_and_wait(void *arg)
{
    struct mover *mover = arg;
    mover->status = wp_db_write_wait(mover->db, test_insert, &mover->row);
}

static void another_thread_may_write_and_wait(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    struct mover movers[2] = {{.row = {.name = "rowa"}},
                              {.row = {.name = "rowb", .own = WP_CONFLICT}}};
    uv_thread_t threads[2];
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    for (int i = 0; i < 2; i++) {
        movers[i].db = db;
        assert_int_equal(uv_thread_create(&threads[i], write_and_wait, &movers[i]), 0);
    }
    for (int i = 0; i < 2; i++)
        assert_int_equal(uv_thread_join(&threads[i]), 0);
    assert_int_equal(movers[0].status, WP_OK);
    assert_int_equal(movers[1].status, WP_CONFLICT);
    test_db_close(db, &loop);
    assert_int_equal(count_after_reopening(folder), 1);
    test_folder_free(folder);
}

struct reading {
    struct test_row row; /* for its answer */
    uv_sem_t *reading;
    uv_sem_t *gate;
    int64_t first;
    int64_t second;
};

static enum wp_status read_twice(struct wp_sql *sql, void *arg)
{
    struct reading *reading = arg;
    enum wp_status status = test_count(sql, &reading->first);
    uv_sem_post(reading->reading);
    uv_sem_wait(reading->gate);
    return status ? status : test_count(sql, &reading->second);
}

static void a_read_sees_one_snapshot(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    uv_sem_t reads;
    uv_sem_t gate;
    assert_int_equal(uv_sem_init(&reads, 0), 0);
    assert_int_equal(uv_sem_init(&gate, 0), 0);
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    struct reading reading = {.reading = &reads, .gate = &gate, .first = -1, .second = -1};
    struct test_row row = {.name = "row"};
    assert_int_equal(wp_db_read(db, read_twice, test_answered, &reading), WP_OK);
    uv_sem_wait(&reads);
    assert_int_equal(wp_db_write(db, test_insert, test_answered, &row), WP_OK);
    test_turn(&loop, &row, 1);
    uv_sem_post(&gate);
    test_turn(&loop, &reading.row, 1);
    assert_int_equal(reading.row.status, WP_OK);
    assert_int_equal(reading.first, 0);
    assert_int_equal(reading.second, 0);
    test_db_close(db, &loop);
    uv_sem_destroy(&reads);
    uv_sem_destroy(&gate);
    test_folder_free(folder);
}

/* 160 MiB pass through; without checkpoints the log would hold them all. */
static void the_log_is_copied_while_writing_goes_on(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    char path[64];
    struct stat found;
    uv_loop_t loop;
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    for (int i = 0; i < 160; i++) {
        struct test_row row = {.size = 1 << 20};
        (void)snprintf(row.name, sizeof row.name, "row%d", i);
        assert_int_equal(wp_db_write(db, test_insert, test_answered, &row), WP_OK);
        test_turn(&loop, &row, 1);
        assert_int_equal(row.status, WP_OK);
    }
    (void)snprintf(path, sizeof path, "%s/gateway.db-wal", folder);
    assert_int_equal(stat(path, &found), 0);
    assert_true(found.st_size < 64 << 20);
    test_db_close(db, &loop);
    assert_int_equal(count_after_reopening(folder), 160);
    test_folder_free(folder);
}

/* The log grows meanwhile, for the reader still needs the old pages; nobody waits for it. */
static void a_reader_that_holds_on_does_not_stop_the_writer(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    uv_loop_t loop;
    int64_t seen = -1;
    struct wp_sql *reader;
    struct wp_db *db = test_db_open(folder, &loop, NULL);
    assert_int_equal(wp_db_reader(db, &reader, NULL), WP_OK);
    assert_int_equal(wp_sql_run(reader, "BEGIN", ""), WP_OK);
    assert_int_equal(test_count(reader, &seen), WP_OK);
    for (int i = 0; i < 80; i++) {
        struct test_row row = {.size = 1 << 20};
        (void)snprintf(row.name, sizeof row.name, "row%d", i);
        assert_int_equal(wp_db_write(db, test_insert, test_answered, &row), WP_OK);
        test_turn(&loop, &row, 1);
        assert_int_equal(row.status, WP_OK);
    }
    assert_int_equal(test_count(reader, &seen), WP_OK);
    assert_int_equal(seen, 0);
    wp_sql_close(reader);
    test_db_close(db, &loop);
    assert_int_equal(count_after_reopening(folder), 80);
    test_folder_free(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(jobs_that_queue_together_share_a_commit),
        cmocka_unit_test(a_job_that_fails_is_undone_alone),
        cmocka_unit_test(a_job_that_fails_may_keep_what_it_wrote),
        cmocka_unit_test(large_jobs_make_smaller_groups),
        cmocka_unit_test(a_full_lane_refuses_and_tells_when_it_has_room),
        cmocka_unit_test(closing_answers_everything_that_was_queued),
        cmocka_unit_test(another_thread_may_write_and_wait),
        cmocka_unit_test(a_read_sees_one_snapshot),
        cmocka_unit_test(the_log_is_copied_while_writing_goes_on),
        cmocka_unit_test(a_reader_that_holds_on_does_not_stop_the_writer),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
