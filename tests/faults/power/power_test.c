/* The power fails at many moments of one afternoon, each time on a copy of the disk that
 * keeps what was synced and loses, keeps or tears what was not. Whatever was promised must be
 * there, and everything that is there must be sound. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "archive/mover.h"
#include "archive/verify.h"
#include "base/clock.h"
#include "record.h"
#include "replay.h"
#include "sample.h"

#define CAPTURES 120
#define BODY 120000 /* large, so that checkpoints happen */
#define FAILURES 60 /* unless the command line says how many */

static size_t failures = FAILURES;

struct taking {
    struct sample_capture capture;
    int *left;
};

static enum wp_status take(struct wp_txn *txn, void *arg)
{
    struct taking *taking = arg;
    return sample_take(txn, &taking->capture);
}

static void taken(void *arg, enum wp_status status)
{
    struct taking *taking = arg;
    assert_int_equal(status, WP_OK);
    record_receipt(taking->capture.number, &taking->capture.head);
    --*taking->left;
}

static void turn_until_none(struct sample *sample, const int *left)
{
    int64_t until = wp_clock_steady() + 60 * WP_SECOND;
    while (*left > 0) {
        assert_true(wp_clock_steady() < until);
        (void)uv_run(&sample->loop, UV_RUN_NOWAIT);
        uv_sleep(1);
    }
}

/* An afternoon: captures in groups of one to eight, the mover at work beside them. */
static void work(struct sample *sample)
{
    static struct taking takings[CAPTURES];
    struct wp_mover *mover;
    assert_true(record_start(sample->folder, "gateway.db"));
    assert_true(sample_reopen(sample));
    assert_int_equal(wp_db_write_now(sample->db, sample_set_up, NULL), WP_OK);
    sample->store = record_store(sample->store);
    sample_start(sample);
    assert_int_equal(wp_mover_start(sample->db, sample->store, &mover, NULL), WP_OK);
    for (int from = 0; from < CAPTURES;) {
        int left = 0;
        for (int group = 1 + rand() % 8; group > 0 && from < CAPTURES; group--, from++, left++) {
            takings[from] =
                (struct taking){.capture = {.number = from, .size = BODY}, .left = &left};
            assert_int_equal(wp_db_write(sample->db, take, taken, &takings[from]), WP_OK);
        }
        turn_until_none(sample, &left);
        wp_mover_kick(mover);
        uv_sleep((unsigned)rand() % 60);
    }
    wp_mover_stop(mover);
    record_stop();
    sample_close(sample);
}

static void on_fault(void *arg, const char *line)
{
    (void)arg;
    (void)fprintf(stderr, "fault: %s\n", line);
}

static void assert_promises(struct wp_sql *sql, const struct step *steps, size_t done)
{
    for (size_t i = 0; i < done; i++) {
        int64_t there = 0;
        if (steps[i].kind != STEP_RECEIPT)
            continue;
        if (wp_sql_int(sql, &there,
                       "SELECT 1 FROM capture WHERE agent_id = ? AND number = ?"
                       " AND ledger_number = ? AND ledger_hash = ?",
                       "iiib", (int64_t)SAMPLE_AGENT, steps[i].at, steps[i].ledger_number,
                       (const void *)steps[i].digest, sizeof steps[i].digest))
            fail_msg("the capture of receipt %lld is gone", (long long)steps[i].at);
    }
}

static void assert_sound(struct sample *sample, const struct step *steps, size_t done)
{
    struct wp_sql *sql;
    struct wp_verify_counts counts;
    struct wp_error error = {0};
    struct wp_verify_watch watch = {.fault = on_fault};
    assert_int_equal(wp_db_reader(sample->db, &sql, NULL), WP_OK);
    struct wp_rows rows;
    assert_int_equal(wp_sql_query(sql, &rows, "PRAGMA integrity_check", ""), WP_OK);
    assert_true(wp_rows_next(&rows));
    assert_string_equal(wp_rows_text(&rows, 0), "ok");
    assert_int_equal(wp_rows_end(&rows), WP_OK);
    assert_promises(sql, steps, done);
    if (wp_verify(sql, sample->store, &watch, &counts, &error))
        fail_msg("%s", error.text);
    assert_int_equal(counts.faults, 0);
    wp_sql_close(sql);
}

/* After the restart the mover must get everything into the store, torn files included. */
static void move_everything(struct sample *sample)
{
    struct wp_mover *mover;
    int64_t until = wp_clock_steady() + 20 * WP_SECOND;
    sample_start(sample);
    assert_int_equal(wp_mover_start(sample->db, sample->store, &mover, NULL), WP_OK);
    while (sample_staged(sample) > 0) {
        assert_true(wp_clock_steady() < until);
        uv_sleep(5);
    }
    wp_mover_stop(mover);
}

static void fail_here(const struct replay *replay, const struct step *steps, bool move)
{
    struct sample after = {.folder = "/tmp/wp-power-XXXXXX"};
    assert_non_null(mkdtemp(after.folder));
    assert_true(replay_fail(replay, steps, after.folder));
    assert_true(sample_reopen(&after));
    assert_sound(&after, steps, replay->done);
    if (move) {
        move_everything(&after);
        assert_sound(&after, steps, replay->done);
    }
    sample_close(&after);
    sample_remove(&after);
}

/* Before this step the schema is still being made and nothing has been promised. */
static size_t first_receipt(const struct step *steps, size_t count)
{
    size_t at = 0;
    while (at < count && steps[at].kind != STEP_RECEIPT)
        at++;
    return at;
}

static void tell(const struct step *steps, size_t count)
{
    size_t kinds[STEP_RECEIPT + 1] = {0};
    size_t database_syncs = 0;
    for (size_t i = 0; i < count; i++) {
        kinds[steps[i].kind]++;
        database_syncs += steps[i].kind == STEP_SYNC && steps[i].file == FILE_DATABASE;
    }
    print_message("%zu steps: %zu writes, %zu syncs (%zu by checkpoints), %zu objects put,"
                  " %zu syncs of the store, %zu receipts\n",
                  count, kinds[STEP_WRITE], kinds[STEP_SYNC], database_syncs, kinds[STEP_PUT],
                  kinds[STEP_STORE_SYNC], kinds[STEP_RECEIPT]);
    /* Otherwise this test would not be looking at what it is for. */
    assert_int_equal(kinds[STEP_RECEIPT], CAPTURES);
    assert_true(database_syncs > 1 && kinds[STEP_STORE_SYNC] > 2);
}

static void fail_often(struct replay *replay)
{
    size_t count;
    const struct step *steps = record_steps(&count);
    size_t from = first_receipt(steps, count);
    for (size_t i = 0; i < failures; i++) {
        replay_to(replay, steps, from + (count - from) * (i + 1) / failures);
        fail_here(replay, steps, i % 5 == 0);
    }
    replay_free(replay);
}

static void what_was_promised_survives_a_power_failure(void **state)
{
    (void)state;
    fail_often(&(struct replay){0});
}

/* Looks at the same afternoon as if some sync had been left out. In a process of its own, in which
 * an assertion may fail unseen. */
static bool is_noticed(struct replay *replay)
{
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        if (!freopen("/dev/null", "w", stdout) || !freopen("/dev/null", "w", stderr))
            _exit(0);
        fail_often(replay);
        _exit(0);
    }
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    return status != 0;
}

/* The last test, for a child whose assertion failed runs whatever follows. */
static void a_sync_that_is_left_out_is_noticed(void **state)
{
    (void)state;
    assert_true(is_noticed(&(struct replay){.missing[FILE_LOG] = true}));
    assert_true(is_noticed(&(struct replay){.missing[FILE_DATABASE] = true}));
    assert_true(is_noticed(&(struct replay){.store_missing = true}));
}

static struct sample afternoon = {.folder = "/tmp/wp-power-XXXXXX"};

static int record(void **state)
{
    (void)state;
    size_t count;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    srand(seed);
    if (!mkdtemp(afternoon.folder))
        return -1;
    work(&afternoon);
    const struct step *steps = record_steps(&count);
    tell(steps, count);
    return 0;
}

static int forget(void **state)
{
    (void)state;
    record_free();
    sample_remove(&afternoon);
    return 0;
}

int main(int count, char **arguments)
{
    if (count > 1)
        failures = strtoul(arguments[1], NULL, 10);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_promised_survives_a_power_failure),
        cmocka_unit_test(a_sync_that_is_left_out_is_noticed),
    };
    return cmocka_run_group_tests(tests, record, forget);
}
