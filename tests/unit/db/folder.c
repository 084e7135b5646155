#include "folder.h"

#include <ftw.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/clock.h"

char *test_folder_new(void)
{
    char *folder = strdup("/tmp/wp-db-XXXXXX");
    assert_non_null(folder);
    assert_non_null(mkdtemp(folder));
    return folder;
}

static int remove_one(const char *path, const struct stat *found, int kind, struct FTW *walk)
{
    (void)found;
    (void)kind;
    (void)walk;
    return remove(path);
}

void test_folder_free(char *folder)
{
    assert_int_equal(nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS), 0);
    free(folder);
}

struct wp_db *test_db_open(const char *folder, uv_loop_t *loop, const struct wp_db_options *more)
{
    struct wp_db_options options = more ? *more : (struct wp_db_options){0};
    options.folder = folder;
    struct wp_error error = {0};
    struct wp_db *db;
    if (wp_db_open(&options, &db, &error))
        fail_msg("%s", error.text);
    assert_int_equal(uv_loop_init(loop), 0);
    assert_int_equal(wp_db_start(db, loop), WP_OK);
    return db;
}

void test_db_close(struct wp_db *db, uv_loop_t *loop)
{
    wp_db_close(db);
    assert_int_equal(uv_run(loop, UV_RUN_DEFAULT), 0);
    assert_int_equal(uv_loop_close(loop), 0);
}

enum wp_status test_insert(struct wp_txn *txn, void *arg)
{
    struct test_row *row = arg;
    row->runs++;
    if (row->gate)
        uv_sem_wait(row->gate);
    char *value = calloc(1, row->size + 1);
    if (!value)
        return WP_NO_MEMORY;
    memset(value, 'x', row->size);
    enum wp_status status =
        wp_sql_run(txn->sql, "INSERT INTO setting (name, value, changed_us) VALUES (?, ?, ?)",
                   "tti", row->name, value, txn->now);
    free(value);
    txn->keep = row->keep;
    return status ? status : row->own;
}

void test_answered(void *arg, enum wp_status status)
{
    struct test_row *row = arg;
    row->answers++;
    row->status = status;
}

void test_turn(uv_loop_t *loop, const struct test_row *rows, size_t count)
{
    int64_t until = wp_clock_steady() + 20 * WP_SECOND;
    for (size_t i = 0; i < count; i++)
        while (!rows[i].answers) {
            assert_true(wp_clock_steady() < until);
            (void)uv_run(loop, UV_RUN_NOWAIT);
            uv_sleep(1);
        }
}

enum wp_status test_count(struct wp_sql *sql, void *count)
{
    return wp_sql_int(sql, count, "SELECT count(*) FROM setting WHERE name LIKE 'row%'", "");
}
