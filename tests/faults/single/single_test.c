/* One call fails, the n-th, n rising until a whole afternoon meets no fault. Whatever was answered
 * must be there after the restart, everything that is there must be sound, and the next capture
 * must be taken. The afternoon is a child process, which must end by itself. */
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "archive/mover.h"
#include "archive/verify.h"
#include "base/secret.h"
#include "fault.h"
#include "sample.h"

#define CAPTURES 6
#define LATER 1000 /* the number of the capture after the restart */
#define STUCK_SECONDS 60
#define AFTER_FAULT 20 /* looks at the mover, 5 ms apart */

/* The n-th call is failed for every n up to so many; then n grows by a share. 0 on the command line
 * leaves none out. */
static long every_up_to = 120;

struct receipt {
    int number;
    struct wp_ledger_head head;
};

/* Shared with the child: what it was promised. */
static struct promises {
    int count;
    struct receipt receipts[CAPTURES];
} * promises;

struct taking {
    struct sample_capture capture;
    bool answered;
    enum wp_status status;
};

static enum wp_status take(struct wp_txn *txn, void *arg)
{
    return sample_take(txn, &((struct taking *)arg)->capture);
}

static void taken(void *arg, enum wp_status status)
{
    struct taking *taking = arg;
    taking->answered = true;
    taking->status = status;
    if (status == WP_OK)
        promises->receipts[promises->count++] =
            (struct receipt){taking->capture.number, taking->capture.head};
}

/* False once the gateway would stop. */
static bool take_one(struct sample *sample, int number)
{
    struct taking taking = {.capture = {.number = number, .size = 9000}};
    if (wp_db_write(sample->db, take, taken, &taking))
        return true;
    while (!taking.answered) {
        (void)uv_run(&sample->loop, UV_RUN_NOWAIT);
        uv_sleep(1);
    }
    return taking.status != WP_BROKEN;
}

/* Until all is moved; after its fault the mover is given a moment to go on. */
static void wait_for_mover(struct wp_mover *mover)
{
    struct wp_mover_counts counts = {0};
    wp_mover_kick(mover);
    for (int left = 2000; left > 0 && counts.objects < (uint64_t)promises->count; left--) {
        if (fault_met() && left > AFTER_FAULT)
            left = AFTER_FAULT;
        uv_sleep(5);
        wp_mover_count(mover, &counts);
    }
}

/* The child: as the gateway it leaves at the first error of its start. */
static void afternoon(struct sample *sample)
{
    struct wp_mover *mover;
    alarm(STUCK_SECONDS);
    if (!sample_reopen(sample) || wp_db_write_now(sample->db, sample_set_up, NULL))
        _exit(0);
    sample->store = fault_store(sample->store);
    if (uv_loop_init(&sample->loop) || wp_db_start(sample->db, &sample->loop) ||
        wp_mover_start(sample->db, sample->store, &mover, NULL))
        _exit(0);
    sample->started = true;
    for (int i = 0; i < CAPTURES && take_one(sample, i); i++)
        ;
    wait_for_mover(mover);
    wp_mover_stop(mover);
    sample_close(sample);
    _exit(0);
}

static void on_fault(void *arg, const char *line)
{
    (void)arg;
    (void)fprintf(stderr, "fault: %s\n", line);
}

static void assert_kept(struct wp_sql *sql)
{
    for (int i = 0; i < promises->count; i++) {
        int64_t there = 0;
        const struct receipt *receipt = &promises->receipts[i];
        if (wp_sql_int(sql, &there,
                       "SELECT 1 FROM capture WHERE agent_id = ? AND number = ? AND"
                       " ledger_number = ? AND ledger_hash = ?",
                       "iiib", (int64_t)SAMPLE_AGENT, (int64_t)receipt->number,
                       receipt->head.number, (const void *)receipt->head.hash,
                       (size_t)WP_LEDGER_HASH))
            fail_msg("capture %d was promised and is gone", receipt->number);
    }
}

static void assert_sound(struct sample *sample)
{
    struct wp_sql *sql;
    struct wp_verify_counts counts;
    struct wp_error error = {0};
    struct wp_verify_watch watch = {.fault = on_fault};
    int64_t set_up = 0;
    assert_true(sample_reopen(sample));
    assert_int_equal(wp_db_reader(sample->db, &sql, NULL), WP_OK);
    assert_kept(sql);
    if (wp_verify(sql, sample->store, &watch, &counts, &error))
        fail_msg("%s", error.text);
    assert_int_equal(counts.faults, 0);
    assert_int_equal(wp_sql_int(sql, &set_up, "SELECT count(*) FROM agent", ""), WP_OK);
    wp_sql_close(sql);
    struct sample_capture later = {.number = LATER, .size = 500};
    if (!set_up)
        assert_int_equal(wp_db_write_now(sample->db, sample_set_up, NULL), WP_OK);
    assert_int_equal(wp_db_write_now(sample->db, sample_take, &later), WP_OK);
    sample_close(sample);
}

/* Whether the fault was met. */
static bool one_afternoon(enum fault_kind kind, long n)
{
    struct sample sample = {.folder = "/tmp/wp-single-XXXXXX"};
    assert_non_null(mkdtemp(sample.folder));
    *promises = (struct promises){0};
    fault_arm(kind, n);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        if (!freopen("/dev/null", "w", stderr))
            _exit(1);
        afternoon(&sample);
    }
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    bool met = fault_met();
    fault_arm(FAULT_NONE, 0);
    if (!WIFEXITED(status) || WEXITSTATUS(status))
        fail_msg("with the %ld-th call failing it ended with status %x", n, (unsigned)status);
    if (!met)
        assert_int_equal(promises->count, CAPTURES);
    assert_sound(&sample);
    sample_remove(&sample);
    return met;
}

static void rise(enum fault_kind kind, const char *what)
{
    long n = 1, runs = 1;
    for (; one_afternoon(kind, n); runs++)
        n += every_up_to && n >= every_up_to ? 1 + n / 8 : 1;
    print_message("%s: no fault met at n = %ld, after %ld afternoons\n", what, n, runs);
    assert_true(runs > 3);
}

static void any_write_sync_truncation_or_removal_may_fail(void **state)
{
    (void)state;
    rise(FAULT_DISK, "disk");
}

static void any_put_or_sync_of_the_store_may_fail(void **state)
{
    (void)state;
    rise(FAULT_STORE, "store");
}

static void any_allocation_of_the_database_may_fail(void **state)
{
    (void)state;
    rise(FAULT_MEMORY, "database memory");
}

static int start(void **state)
{
    (void)state;
    void *shared =
        mmap(NULL, sizeof *promises, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (shared == MAP_FAILED || !fault_install() || wp_secret_init())
        return -1;
    promises = shared;
    return 0;
}

int main(int count, char **arguments)
{
    if (count > 1)
        every_up_to = strtol(arguments[1], NULL, 10);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_write_sync_truncation_or_removal_may_fail),
        cmocka_unit_test(any_put_or_sync_of_the_store_may_fail),
        cmocka_unit_test(any_allocation_of_the_database_may_fail),
    };
    return cmocka_run_group_tests(tests, start, NULL);
}
