#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/sql.h"

struct fixture {
    char folder[64];
    char path[80];
    struct wp_sql *sql;
};

static int start(void **state)
{
    struct fixture *f = calloc(1, sizeof *f);
    if (!f)
        return -1;
    strcpy(f->folder, "/tmp/wp-sql-XXXXXX");
    if (!mkdtemp(f->folder))
        return -1;
    (void)snprintf(f->path, sizeof f->path, "%s/a.db", f->folder);
    *state = f;
    return (int)wp_sql_open(f->path, WP_SQL_WRITE, &f->sql, NULL);
}

static int stop(void **state)
{
    struct fixture *f = *state;
    wp_sql_close(f->sql);
    (void)unlink(f->path);
    (void)rmdir(f->folder);
    free(f);
    return 0;
}

static void values_of_every_type_come_back(void **state)
{
    struct wp_sql *sql = ((struct fixture *)*state)->sql;
    assert_int_equal(wp_sql_script(sql, "CREATE TABLE t (i INTEGER, d REAL, s TEXT, b BLOB, "
                                        "e BLOB, n TEXT) STRICT"),
                     WP_OK);
    assert_int_equal(wp_sql_run(sql, "INSERT INTO t VALUES (?, ?, ?, ?, ?, ?)", "idtbbn", INT64_MIN,
                                0.5, "h\xC3\xA9", "\0x", (size_t)2, "", (size_t)0),
                     WP_OK);
    assert_int_equal(wp_sql_changes(sql), 1);
    struct wp_rows rows;
    assert_int_equal(wp_sql_query(sql, &rows, "SELECT * FROM t WHERE s = ?", "t", "h\xC3\xA9"),
                     WP_OK);
    assert_true(wp_rows_next(&rows));
    size_t size = 9;
    assert_int_equal(wp_rows_columns(&rows), 6);
    assert_string_equal(wp_rows_name(&rows, 3), "b");
    assert_int_equal(wp_rows_int(&rows, 0), INT64_MIN);
    assert_true(wp_rows_double(&rows, 1) == 0.5);
    assert_string_equal(wp_rows_text(&rows, 2), "h\xC3\xA9");
    assert_memory_equal(wp_rows_blob(&rows, 3, &size), "\0x", 2);
    assert_int_equal(size, 2);
    assert_non_null(wp_rows_blob(&rows, 4, &size));
    assert_int_equal(size, 0);
    assert_null(wp_rows_text(&rows, 5));
    assert_null(wp_rows_blob(&rows, 5, &size));
    assert_true(wp_rows_null(&rows, 5));
    assert_false(wp_rows_next(&rows));
    assert_int_equal(wp_rows_end(&rows), WP_OK);
}

static void errors_are_types(void **state)
{
    struct wp_sql *sql = ((struct fixture *)*state)->sql;
    static const char insert[] = "INSERT INTO t VALUES (?)";
    assert_int_equal(wp_sql_script(sql, "CREATE TABLE t (i INTEGER PRIMARY KEY) STRICT;"
                                        "CREATE TABLE c (i INTEGER REFERENCES t (i)) STRICT"),
                     WP_OK);
    assert_int_equal(wp_sql_run(sql, insert, "i", INT64_C(1)), WP_OK);
    assert_int_equal(wp_sql_run(sql, insert, "i", INT64_C(1)), WP_CONSTRAINT);
    assert_int_equal(wp_sql_run(sql, "INSERT INTO c VALUES (?)", "i", INT64_C(7)), WP_CONSTRAINT);
    assert_int_equal(wp_sql_run(sql, "INSERT INTO c VALUES (?)", "t", "x"), WP_CONSTRAINT);
    assert_int_equal(wp_sql_run(sql, insert, ""), WP_INVALID);
    assert_string_equal(wp_sql_message(sql), "the statement takes another number of values");
    assert_int_equal(wp_sql_run(sql, "INSRT", ""), WP_INVALID);
    assert_int_equal(wp_sql_run(sql, "SELECT 1", ""), WP_INVALID);
    assert_int_equal(wp_sql_run(sql, "", ""), WP_INVALID);
    int64_t value = 5;
    assert_int_equal(wp_sql_int(sql, &value, "SELECT i FROM t WHERE i = ?", "i", INT64_C(9)),
                     WP_NOT_FOUND);
    assert_int_equal(value, 5);
    assert_int_equal(wp_sql_int(sql, &value, "SELECT max(i) FROM t", ""), WP_OK);
    assert_int_equal(value, 1);
}

static void a_reading_connection_cannot_write(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(wp_sql_script(f->sql, "CREATE TABLE t (i INTEGER) STRICT"), WP_OK);
    struct wp_sql *reader;
    assert_int_equal(wp_sql_open(f->path, WP_SQL_READ, &reader, NULL), WP_OK);
    assert_int_equal(wp_sql_run(reader, "INSERT INTO t VALUES (1)", ""), WP_IO);
    wp_sql_close(reader);
    char path[128];
    (void)snprintf(path, sizeof path, "%s/none.db", f->folder);
    struct wp_error error;
    assert_int_equal(wp_sql_open(path, WP_SQL_READ, &reader, &error), WP_BROKEN);
    assert_null(reader);
    assert_non_null(strstr(error.text, "none.db"));
}

static void a_file_that_is_no_database_is_broken(void **state)
{
    struct fixture *f = *state;
    char path[128];
    (void)snprintf(path, sizeof path, "%s/text.db", f->folder);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    for (int i = 0; i < 200; i++)
        (void)fputs("this is not a database ", file);
    (void)fclose(file);
    struct wp_sql *sql;
    assert_int_equal(wp_sql_open(path, WP_SQL_WRITE, &sql, NULL), WP_BROKEN);
    (void)unlink(path);
}

static void the_same_text_is_not_read_twice_at_once(void **state)
{
    struct wp_sql *sql = ((struct fixture *)*state)->sql;
    static const char text[] = "SELECT 1 UNION ALL SELECT 2";
    struct wp_rows outer;
    struct wp_rows inner;
    assert_int_equal(wp_sql_query(sql, &outer, text, ""), WP_OK);
    assert_true(wp_rows_next(&outer));
    assert_int_equal(wp_sql_query(sql, &inner, text, ""), WP_INVALID);
    assert_false(wp_rows_next(&inner));
    assert_int_equal(wp_rows_end(&inner), WP_INVALID);
    assert_true(wp_rows_next(&outer));
    assert_int_equal(wp_rows_int(&outer, 0), 2);
    assert_int_equal(wp_rows_end(&outer), WP_OK);
}

static void texts_built_in_one_buffer_do_not_mix(void **state)
{
    struct wp_sql *sql = ((struct fixture *)*state)->sql;
    char text[32];
    for (int i = 0; i < 50; i++) {
        int64_t value = -1;
        (void)snprintf(text, sizeof text, "SELECT %d", i);
        assert_int_equal(wp_sql_int(sql, &value, text, ""), WP_OK);
        assert_int_equal(value, i);
    }
}

static void more_texts_than_slots_do_no_harm(void **state)
{
    struct wp_sql *sql = ((struct fixture *)*state)->sql;
    static char texts[3000][16];
    struct wp_rows rows;
    for (int i = 0; i < 3000; i++) {
        int64_t value = -1;
        (void)snprintf(texts[i], sizeof texts[i], "SELECT %d", i);
        assert_int_equal(wp_sql_int(sql, &value, texts[i], ""), WP_OK);
        assert_int_equal(value, i);
    }
    assert_int_equal(wp_sql_query(sql, &rows, "SELECT 7", ""), WP_OK);
    assert_true(wp_rows_next(&rows));
    assert_int_equal(wp_rows_int(&rows, 0), 7);
    assert_int_equal(wp_rows_end(&rows), WP_OK);
}

#define IN_FOLDER(test) cmocka_unit_test_setup_teardown(test, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_FOLDER(values_of_every_type_come_back),
        IN_FOLDER(errors_are_types),
        IN_FOLDER(a_reading_connection_cannot_write),
        IN_FOLDER(a_file_that_is_no_database_is_broken),
        IN_FOLDER(the_same_text_is_not_read_twice_at_once),
        IN_FOLDER(texts_built_in_one_buffer_do_not_mix),
        IN_FOLDER(more_texts_than_slots_do_no_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
