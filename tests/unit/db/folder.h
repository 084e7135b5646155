/* folder.h - a data folder for one test and what the tests of this room do to a database. */
#ifndef TEST_FOLDER_H
#define TEST_FOLDER_H

#include "db/db.h"

/* Makes a folder below /tmp; `free` removes it with all its files. */
char *test_folder_new(void);
void test_folder_free(char *folder);

/* Opens and starts a database there. Asserts that it works. */
struct wp_db *test_db_open(const char *folder, uv_loop_t *loop, const struct wp_db_options *more);

/* Closes it and turns the loop until nothing is left. */
void test_db_close(struct wp_db *db, uv_loop_t *loop);

/* One row in table `setting`. */
struct test_row {
    char name[24];
    size_t size;        /* bytes of the value */
    uv_sem_t *gate;     /* waited for first, if not NULL */
    enum wp_status own; /* what the job returns after its insert */
    bool keep;          /* although it fails */
    int runs;
    int answers;
    enum wp_status status;
};

enum wp_status test_insert(struct wp_txn *txn, void *row);
void test_answered(void *row, enum wp_status status);

/* Turns the loop until `count` rows are answered; fails after 20 s. */
void test_turn(uv_loop_t *loop, const struct test_row *rows, size_t count);

/* Rows of table `setting` whose name begins with 'row'. A read job: `count` is an int64_t. */
enum wp_status test_count(struct wp_sql *sql, void *count);

#endif
