/* The gateway's storage is killed at random moments, over and over in one data folder. Whatever was
 * answered must be there afterwards, and everything that is there must be sound. */
#include <poll.h>
#include <pthread.h>
#include <setjmp.h>
#include <signal.h>
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
#include "sample.h"

#define ROUNDS 25 /* unless the command line says how many */
#define THREADS 4
#define A_ROUND 1000000
#define A_THREAD 100000

static int rounds = ROUNDS;

struct receipt {
    int64_t number;
    struct wp_ledger_head head;
};

struct taker {
    struct sample *sample;
    int from;
    int pipe;
};

static void *take_forever(void *arg)
{
    struct taker *taker = arg;
    for (int i = 0; i < A_THREAD; i++) {
        struct sample_capture capture = {.number = taker->from + i,
                                         .size = 200 + (size_t)(i % 40) * 500};
        if (wp_db_write_wait(taker->sample->db, sample_take, &capture))
            _exit(3);
        struct receipt receipt = {.number = capture.number, .head = capture.head};
        if (write(taker->pipe, &receipt, sizeof receipt) != sizeof receipt)
            _exit(4);
    }
    return NULL;
}

/* The child: database, store, mover and four takers, until it is killed. */
static void work(struct sample *sample, int round, int pipe)
{
    struct wp_mover *mover;
    struct taker takers[THREADS];
    pthread_t threads[THREADS];
    if (!sample_reopen(sample))
        _exit(1);
    sample_start(sample);
    if (wp_mover_start(sample->db, sample->store, &mover, NULL))
        _exit(2);
    for (int i = 0; i < THREADS; i++) {
        takers[i] = (struct taker){sample, round * A_ROUND + i * A_THREAD, pipe};
        if (pthread_create(&threads[i], NULL, take_forever, &takers[i]))
            _exit(5);
    }
    for (int i = 0; i < THREADS; i++)
        (void)pthread_join(threads[i], NULL);
    _exit(6);
}

struct receipts {
    struct receipt *all;
    size_t count;
    size_t room;
};

/* Reads what there is. False at the end. */
static bool read_some(int pipe, struct receipts *receipts)
{
    if (receipts->count == receipts->room) {
        receipts->room = receipts->room ? 2 * receipts->room : 1024;
        receipts->all = realloc(receipts->all, receipts->room * sizeof receipts->all[0]);
        assert_non_null(receipts->all);
    }
    ssize_t got = read(pipe, &receipts->all[receipts->count], sizeof receipts->all[0]);
    if (got <= 0)
        return false;
    assert_int_equal(got, sizeof receipts->all[0]);
    receipts->count++;
    return true;
}

/* Collects receipts for `wait_us`, kills the child, and collects those still in the pipe. */
static void collect_and_kill(pid_t child, int pipe, int64_t wait_us, struct receipts *receipts)
{
    int64_t until = wp_clock_steady() + wait_us;
    for (int64_t left = wait_us; left > 0; left = until - wp_clock_steady()) {
        struct pollfd ready = {.fd = pipe, .events = POLLIN};
        if (poll(&ready, 1, (int)(left / 1000) + 1) > 0 && !read_some(pipe, receipts))
            break;
    }
    assert_int_equal(kill(child, SIGKILL), 0);
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status));
    while (read_some(pipe, receipts))
        ;
}

static void on_fault(void *arg, const char *line)
{
    (void)arg;
    (void)fprintf(stderr, "fault: %s\n", line);
}

/* Everything answered is there, with the ledger entry that its receipt names. */
static void assert_kept(struct wp_sql *sql, const struct receipts *receipts)
{
    for (size_t i = 0; i < receipts->count; i++) {
        int64_t there = 0;
        const struct receipt *receipt = &receipts->all[i];
        assert_int_equal(wp_sql_int(sql, &there,
                                    "SELECT 1 FROM capture WHERE agent_id = ? AND number = ?"
                                    " AND ledger_number = ? AND ledger_hash = ?",
                                    "iiib", (int64_t)SAMPLE_AGENT, receipt->number,
                                    receipt->head.number, (const void *)receipt->head.hash,
                                    (size_t)WP_LEDGER_HASH),
                         WP_OK);
    }
}

static void assert_sound(struct sample *sample, const struct receipts *receipts)
{
    struct wp_sql *sql;
    struct wp_verify_counts counts;
    struct wp_error error = {0};
    struct wp_verify_watch watch = {.fault = on_fault};
    assert_true(sample_reopen(sample));
    assert_int_equal(wp_db_reader(sample->db, &sql, NULL), WP_OK);
    assert_kept(sql, receipts);
    if (wp_verify(sql, sample->store, &watch, &counts, &error))
        fail_msg("%s", error.text);
    assert_int_equal(counts.faults, 0);
    assert_true((size_t)counts.objects >= receipts->count);
    wp_sql_close(sql);
    sample_close(sample);
}

static void what_was_answered_survives_kill_9(void **state)
{
    (void)state;
    struct sample sample;
    struct receipts receipts = {0};
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    srand(seed);
    assert_true(sample_open(&sample));
    sample_close(&sample);
    for (int round = 1; round <= rounds; round++) {
        int ends[2];
        assert_int_equal(pipe(ends), 0);
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            (void)close(ends[0]);
            work(&sample, round, ends[1]);
        }
        (void)close(ends[1]);
        collect_and_kill(child, ends[0], 5000 + rand() % 400000, &receipts);
        (void)close(ends[0]);
        assert_sound(&sample, &receipts);
    }
    print_message("%zu receipts in %d rounds\n", receipts.count, rounds);
    assert_true(receipts.count > (size_t)rounds);
    free(receipts.all);
    sample_remove(&sample);
}

int main(int count, char **arguments)
{
    if (count > 1)
        rounds = (int)strtol(arguments[1], NULL, 10);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_answered_survives_kill_9),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
