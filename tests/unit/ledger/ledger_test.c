#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/bytes.h"
#include "base/digest.h"
#include "base/secret.h"
#include "ledger/ledger.h"

static struct wp_sql *sql;

/* The two tables that the ledger uses, in memory. */
static int start(void **state)
{
    (void)state;
    if (wp_secret_init() || wp_sql_open(":memory:", WP_SQL_WRITE, &sql, NULL))
        return -1;
    return (int)wp_sql_script(
        sql, "CREATE TABLE setting (name TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL,"
             " changed_us INTEGER NOT NULL) STRICT;"
             "CREATE TABLE ledger (number INTEGER NOT NULL PRIMARY KEY, at_us INTEGER NOT NULL,"
             " actor INTEGER NOT NULL, actor_id INTEGER NOT NULL, verb TEXT NOT NULL,"
             " subject TEXT NOT NULL, detail_digest BLOB, hash BLOB NOT NULL) STRICT");
}

static int stop(void **state)
{
    (void)state;
    wp_sql_close(sql);
    return 0;
}

static void add(const char *verb, const char *subject, const char *detail,
                struct wp_ledger_head *head)
{
    struct wp_txn txn = {.sql = sql, .now = 1700000000000000};
    assert_int_equal(wp_ledger_add(&txn, WP_ACTOR_AGENT, 7, verb, subject, detail, head), WP_OK);
}

static void assert_bad(int64_t number)
{
    struct wp_error error = {0};
    int64_t entries;
    assert_int_equal(wp_ledger_check(sql, &entries, &error), WP_INVALID);
    assert_int_equal(error.line, number);
}

/* The hash of the first entry, put together byte by byte from what the header says. */
static void an_entry_is_hashed_as_documented(void **state)
{
    (void)state;
    static const char entry[] =
        "\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0" /* hash before */
        "\0\0\0\0\0\0\0\x01"                                               /* number */
        "\x00\x06\x0a\x24\x18\x1e\x40\x00"                                 /* 1.7e15 us */
        "\0\0\0\0\0\0\0\x02"                                               /* an agent */
        "\0\0\0\0\0\0\0\x07"
        "\0\0\0\0\0\0\0\x07"
        "capture"
        "\0\0\0\0\0\0\0\x09"
        "capture:1"
        "\0\0\0\0\0\0\0\0"; /* no detail */
    unsigned char wanted[WP_SHA256_SIZE];
    struct wp_ledger_head head;
    assert_int_equal(wp_sha256(entry, sizeof entry - 1, wanted), WP_OK);
    add("capture", "capture:1", NULL, &head);
    assert_int_equal(head.number, 1);
    assert_memory_equal(head.hash, wanted, sizeof wanted);
}

static void a_chain_of_many_pages_is_sound(void **state)
{
    (void)state;
    struct wp_ledger_head head;
    struct wp_ledger_head read;
    struct wp_error error = {0};
    int64_t entries = 0;
    assert_int_equal(wp_ledger_read_head(sql, &read), WP_OK);
    assert_int_equal(read.number, 0);
    assert_int_equal(wp_ledger_check(sql, &entries, &error), WP_OK);
    assert_int_equal(entries, 0);
    for (int i = 0; i < 5001; i++)
        add("stamp", "measurement:1", i % 2 ? "detail" : NULL, &head);
    assert_int_equal(wp_ledger_check(sql, &entries, &error), WP_OK);
    assert_int_equal(entries, 5001);
    assert_int_equal(wp_ledger_read_head(sql, &read), WP_OK);
    assert_int_equal(read.number, 5001);
    assert_memory_equal(read.hash, head.hash, sizeof head.hash);
}

static void any_change_to_an_entry_shows(void **state)
{
    (void)state;
    static const char *const changes[] = {
        "UPDATE ledger SET at_us = at_us + 1 WHERE number = 2",
        "UPDATE ledger SET actor = 1 WHERE number = 2",
        "UPDATE ledger SET actor_id = 8 WHERE number = 2",
        "UPDATE ledger SET verb = 'claim' WHERE number = 2",
        "UPDATE ledger SET subject = 'measurement:2' WHERE number = 2",
        "UPDATE ledger SET detail_digest = x'00' WHERE number = 2",
        "UPDATE ledger SET detail_digest = NULL WHERE number = 2",
        "UPDATE ledger SET hash = x'00' WHERE number = 2",
        "DELETE FROM ledger WHERE number = 2",
    };
    for (int i = 0; i < 4; i++)
        add("stamp", "measurement:1", "detail", NULL);
    for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
        assert_int_equal(wp_sql_script(sql, "BEGIN"), WP_OK);
        assert_int_equal(wp_sql_script(sql, changes[i]), WP_OK);
        assert_bad(2);
        assert_int_equal(wp_sql_script(sql, "ROLLBACK"), WP_OK);
    }
}

static void two_entries_that_change_places_show(void **state)
{
    (void)state;
    add("stamp", "measurement:1", NULL, NULL);
    add("claim", "measurement:1", NULL, NULL);
    assert_int_equal(wp_sql_script(sql, "UPDATE ledger SET number = number + 10;"
                                        "UPDATE ledger SET number = 1 WHERE number = 12;"
                                        "UPDATE ledger SET number = 2 WHERE number = 11"),
                     WP_OK);
    assert_bad(1);
}

static void a_cut_off_end_shows_to_a_witness_only(void **state)
{
    (void)state;
    struct wp_ledger_head second;
    struct wp_ledger_head third;
    int64_t entries;
    add("stamp", "measurement:1", NULL, NULL);
    add("stamp", "measurement:2", NULL, &second);
    add("stamp", "measurement:3", NULL, &third);
    assert_int_equal(wp_ledger_witness(sql, &third), WP_OK);
    assert_int_equal(wp_sql_script(sql, "DELETE FROM ledger WHERE number = 3"), WP_OK);
    assert_int_equal(wp_ledger_check(sql, &entries, NULL), WP_OK);
    assert_int_equal(wp_ledger_witness(sql, &second), WP_OK);
    assert_int_equal(wp_ledger_witness(sql, &third), WP_INVALID);
    add("stamp", "measurement:4", NULL, NULL);
    assert_int_equal(wp_ledger_witness(sql, &third), WP_INVALID);
    assert_int_equal(wp_ledger_witness(sql, &(struct wp_ledger_head){0}), WP_OK);
}

static void a_detail_is_kept_as_a_salted_digest(void **state)
{
    (void)state;
    unsigned char plain[WP_SHA256_SIZE];
    int64_t count = -1;
    add("command", "course:1", "A Person", NULL);
    add("command", "course:1", "A Person", NULL);
    assert_int_equal(wp_sha256("A Person", 8, plain), WP_OK);
    assert_int_equal(
        wp_sql_int(sql, &count, "SELECT count(DISTINCT detail_digest) FROM ledger", ""), WP_OK);
    assert_int_equal(count, 1);
    assert_int_equal(wp_sql_int(sql, &count, "SELECT count(*) FROM ledger WHERE detail_digest = ?",
                                "b", (const void *)plain, sizeof plain),
                     WP_OK);
    assert_int_equal(count, 0);
    /* Without the salt the chain is as sound as before. */
    assert_int_equal(wp_sql_script(sql, "DELETE FROM setting"), WP_OK);
    assert_int_equal(wp_ledger_check(sql, &count, NULL), WP_OK);
    assert_int_equal(count, 2);
}

static void wrong_verbs_and_subjects_are_refused(void **state)
{
    (void)state;
    struct wp_txn txn = {.sql = sql};
    char longer[98];
    memset(longer, 'x', sizeof longer - 1);
    longer[97] = '\0';
    assert_int_equal(wp_ledger_add(&txn, WP_ACTOR_SYSTEM, 0, "", "a:1", NULL, NULL), WP_INVALID);
    assert_int_equal(wp_ledger_add(&txn, WP_ACTOR_SYSTEM, 0, "a", "", NULL, NULL), WP_INVALID);
    assert_int_equal(wp_ledger_add(&txn, WP_ACTOR_SYSTEM, 0, "a", longer, NULL, NULL), WP_INVALID);
    assert_int_equal(wp_ledger_add(&txn, WP_ACTOR_SYSTEM, 0, longer, "a:1", NULL, NULL),
                     WP_INVALID);
}

#define ON_TABLES(test) cmocka_unit_test_setup_teardown(test, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_TABLES(an_entry_is_hashed_as_documented),
        ON_TABLES(a_chain_of_many_pages_is_sound),
        ON_TABLES(any_change_to_an_entry_shows),
        ON_TABLES(two_entries_that_change_places_show),
        ON_TABLES(a_cut_off_end_shows_to_a_witness_only),
        ON_TABLES(a_detail_is_kept_as_a_salted_digest),
        ON_TABLES(wrong_verbs_and_subjects_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
