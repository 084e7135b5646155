/* Opening: folder, lock, migrations, ids. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/clock.h"
#include "base/id.h"
#include "folder.h"

static enum wp_status open_folder(const char *folder, struct wp_db **db, struct wp_error *error)
{
    return wp_db_open(&(struct wp_db_options){.folder = folder}, db, error);
}

static void a_new_data_folder_is_for_its_owner_alone(void **state)
{
    (void)state;
    char *above = test_folder_new();
    char folder[64];
    struct wp_db *db;
    struct stat found;
    (void)snprintf(folder, sizeof folder, "%s/data", above);
    assert_int_equal(open_folder(folder, &db, NULL), WP_OK);
    assert_int_equal(stat(folder, &found), 0);
    assert_int_equal(found.st_mode & 0777, 0700);
    assert_string_equal(wp_db_folder(db), folder);
    wp_db_close(db);
    test_folder_free(above);
}

static void a_folder_is_held_by_one_process_at_a_time(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    struct wp_db *db;
    struct wp_db *other;
    struct wp_error error;
    char holder[32];
    assert_int_equal(open_folder(folder, &db, NULL), WP_OK);
    assert_int_equal(open_folder(folder, &other, &error), WP_CONFLICT);
    assert_null(other);
    (void)snprintf(holder, sizeof holder, "process %ld", (long)getpid());
    assert_non_null(strstr(error.text, holder));
    wp_db_close(db);
    assert_int_equal(open_folder(folder, &other, NULL), WP_OK);
    wp_db_close(other);
    test_folder_free(folder);
}

static void what_is_no_folder_is_refused(void **state)
{
    (void)state;
    struct wp_db *db;
    struct wp_error error;
    assert_int_equal(open_folder("/dev/null", &db, &error), WP_IO);
    assert_non_null(strstr(error.text, "/dev/null"));
    assert_int_equal(open_folder("/nonexistent/a", &db, &error), WP_IO);
    assert_null(db);
}

static enum wp_status pretend_newer(struct wp_txn *txn, void *job)
{
    (void)job;
    return wp_sql_run(txn->sql, "INSERT INTO migration VALUES ('9999_future.sql', 0)", "");
}

static void a_database_of_a_newer_version_is_refused(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    struct wp_db *db;
    struct wp_error error;
    assert_int_equal(open_folder(folder, &db, NULL), WP_OK);
    assert_int_equal(wp_db_write_now(db, pretend_newer, NULL), WP_OK);
    wp_db_close(db);
    assert_int_equal(open_folder(folder, &db, &error), WP_INVALID);
    assert_non_null(strstr(error.text, "9999_future.sql"));
    test_folder_free(folder);
}

static enum wp_status use_id(struct wp_txn *txn, void *job)
{
    int64_t *id = job;
    *id = wp_id_next();
    return wp_sql_run(
        txn->sql, "INSERT INTO event (number, at_us, topic, body) VALUES (?, 0, '', '')", "i", *id);
}

/* In a process of its own that ends without an orderly close: commits an id of a year ahead. */
static void child_with_a_fast_clock(const char *folder)
{
    struct wp_db *db;
    int64_t id;
    wp_id_seed(wp_id_at(wp_clock_utc() + 365 * WP_DAY));
    int failed = open_folder(folder, &db, NULL) || wp_db_write_now(db, use_id, &id);
    _exit(failed ? 1 : 0);
}

static enum wp_status newest(struct wp_sql *sql, void *value)
{
    return wp_sql_int(sql, value, "SELECT max(number) FROM event", "");
}

static void ids_stay_above_those_on_disk_when_the_clock_goes_back(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    struct wp_db *db;
    int64_t before = 0;
    int status = 1;
    pid_t child = fork();
    if (child == 0)
        child_with_a_fast_clock(folder);
    assert_true(child > 0);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_int_equal(status, 0);
    assert_int_equal(open_folder(folder, &db, NULL), WP_OK);
    assert_int_equal(wp_db_read_now(db, newest, &before), WP_OK);
    assert_true(before > wp_id_at(wp_clock_utc() + 364 * WP_DAY));
    assert_true(wp_id_next() > before);
    wp_db_close(db);
    test_folder_free(folder);
}

static void before_the_start_nothing_is_queued(void **state)
{
    (void)state;
    char *folder = test_folder_new();
    struct wp_db *db;
    struct test_row row = {.name = "row"};
    assert_int_equal(open_folder(folder, &db, NULL), WP_OK);
    assert_int_equal(wp_db_write(db, test_insert, test_answered, &row), WP_RETRY);
    assert_int_equal(wp_db_write_wait(db, test_insert, &row), WP_RETRY);
    assert_int_equal(row.runs, 0);
    wp_db_close(db);
    wp_db_close(NULL);
    test_folder_free(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_new_data_folder_is_for_its_owner_alone),
        cmocka_unit_test(a_folder_is_held_by_one_process_at_a_time),
        cmocka_unit_test(what_is_no_folder_is_refused),
        cmocka_unit_test(a_database_of_a_newer_version_is_refused),
        cmocka_unit_test(ids_stay_above_those_on_disk_when_the_clock_goes_back),
        cmocka_unit_test(before_the_start_nothing_is_queued),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
