/* The power fails at many moments of an agent's afternoon, each time on a copy of its disk that
 * keeps what was synced and loses, keeps or tears what was not. The spool must open, must hold
 * every file whose capture was committed, bytes included, unless the gateway had receipted it, and
 * must give no number twice. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/sql.h"
#include "record.h"
#include "replay.h"
#include "spool.h"

#define CAPTURES 160
#define BODY_MOST 60000 /* in all some megabytes, so that checkpoints happen */
#define FAILURES 60     /* unless the command line says how many */

static size_t failures = FAILURES;
static char afternoon[] = "/tmp/wp-spool-power-XXXXXX";
static char now[sizeof afternoon + 8];     /* below it: the disk as the failure left it */
static int64_t receipted_at[CAPTURES + 1]; /* the step before the receipt was taken; 0: none */

static size_t body_of(int64_t number, unsigned char bytes[BODY_MOST])
{
    size_t size = 200 + (size_t)(number * 7919 % (BODY_MOST - 200));
    for (size_t i = 0; i < size; i++)
        bytes[i] = (unsigned char)(number * 31 + (int64_t)(i * i / 7));
    return size;
}

static void take(struct wp_spool *spool, int64_t number)
{
    static unsigned char bytes[BODY_MOST];
    static struct wp_spool_capture capture;
    struct wp_ledger_head none = {.number = 0};
    struct wp_seen_pair pair = {(uint64_t)number, 7};
    memset(&capture, 0, sizeof capture);
    capture.folder = 1;
    capture.size = (int64_t)body_of(number, bytes);
    capture.look = (struct wp_look){.size = capture.size, .mtime_ns = number, .inode = 5};
    (void)snprintf(capture.path, sizeof capture.path, "s%lld.jdx", (long long)number);
    (void)snprintf(capture.boot_id, sizeof capture.boot_id, "boot");
    assert_int_equal(wp_sha256(bytes, (size_t)capture.size, capture.sha256), WP_OK);
    assert_int_equal(wp_spool_add(spool, &capture, bytes, &pair), WP_OK);
    assert_int_equal(capture.number, number);
    record_receipt(number, &none);
}

/* Receipts come out of order, some in between, some late; marks are noted beside them. */
static void work(void)
{
    struct wp_spool *spool;
    size_t steps;
    assert_true(record_start(afternoon, "spool.db"));
    assert_int_equal(wp_spool_open(afternoon, &spool, NULL), WP_OK);
    assert_int_equal(wp_spool_set_text(spool, "token", "joined"), WP_OK);
    assert_int_equal(wp_spool_put_folder(spool, "/export", false, 1), WP_OK);
    for (int64_t number = 1; number <= CAPTURES; number++) {
        take(spool, number);
        int64_t old = 1 + rand() % number;
        if (rand() % 3 && !receipted_at[old]) {
            (void)record_steps(&steps);
            receipted_at[old] = (int64_t)steps;
            assert_int_equal(wp_spool_receipt(spool, old, "r", number, "00"), WP_OK);
        }
        struct wp_seen_pair mark = {(uint64_t)(1000 + number), 1};
        if (rand() % 8 == 0)
            assert_int_equal(wp_spool_mark(spool, 1, &mark, 1), WP_OK);
    }
    record_stop();
    wp_spool_close(spool);
}

/* Which captures wait, by number, their bytes having been compared. */
static void read_waiting(struct wp_spool *spool, bool waiting[CAPTURES + 1])
{
    static struct wp_spool_capture capture;
    static unsigned char right[BODY_MOST];
    memset(&capture, 0, sizeof capture);
    while (wp_spool_next_waiting(spool, &capture)) {
        struct wp_bytes bytes;
        wp_bytes_init(&bytes, BODY_MOST);
        assert_in_range(capture.number, 1, CAPTURES);
        assert_int_equal(wp_spool_bytes(spool, capture.number, &bytes), WP_OK);
        assert_int_equal(bytes.size, body_of(capture.number, right));
        assert_memory_equal(bytes.data, right, bytes.size);
        waiting[capture.number] = true;
        wp_bytes_release(&bytes);
    }
}

static void assert_promises(struct wp_spool *spool, const struct step *steps, size_t done)
{
    static bool waiting[CAPTURES + 1];
    struct wp_spool_load load;
    char token[16];
    int64_t last = 0;
    memset(waiting, 0, sizeof waiting);
    read_waiting(spool, waiting);
    for (size_t i = 0; i < done; i++) {
        if (steps[i].kind != STEP_RECEIPT)
            continue;
        int64_t sent = receipted_at[steps[i].at];
        last = steps[i].at;
        if (!waiting[last] && (!sent || (size_t)sent >= done))
            fail_msg("capture %lld is gone", (long long)last);
    }
    wp_spool_load(spool, &load);
    assert_true(load.last_number >= last); /* so the next number is new */
    wp_spool_text(spool, "token", token, sizeof token);
    assert_string_equal(token, "joined");
}

static void assert_sound(const char *folder)
{
    struct wp_sql *sql;
    struct wp_rows rows;
    char path[160];
    (void)snprintf(path, sizeof path, "%s/spool.db", folder);
    assert_int_equal(wp_sql_open(path, WP_SQL_LIGHT, &sql, NULL), WP_OK);
    assert_int_equal(wp_sql_query(sql, &rows, "PRAGMA integrity_check", ""), WP_OK);
    assert_true(wp_rows_next(&rows));
    assert_string_equal(wp_rows_text(&rows, 0), "ok");
    assert_int_equal(wp_rows_end(&rows), WP_OK);
    wp_sql_close(sql);
}

static void forget_folder(const char *folder)
{
    static const char *const names[] = {"spool.db", "spool.db-wal", "spool.db-shm", "objects"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char path[160];
        (void)snprintf(path, sizeof path, "%s/%s", folder, names[i]);
        (void)remove(path);
    }
    (void)rmdir(folder);
}

static void fail_here(const struct replay *replay, const struct step *steps)
{
    struct wp_spool *spool;
    struct wp_error error = {.text = ""};
    assert_int_equal(mkdir(now, 0700), 0);
    assert_true(replay_fail(replay, steps, now));
    if (wp_spool_open(now, &spool, &error))
        fail_msg("%s", error.text);
    assert_promises(spool, steps, replay->done);
    wp_spool_close(spool);
    assert_sound(now);
    forget_folder(now);
}

static void fail_often(struct replay *replay)
{
    size_t count;
    const struct step *steps = record_steps(&count);
    size_t from = 0;
    while (from < count && steps[from].kind != STEP_RECEIPT)
        from++;
    for (size_t i = 0; i < failures; i++) {
        replay_to(replay, steps, from + (count - from) * (i + 1) / failures);
        fail_here(replay, steps);
    }
    replay_free(replay);
}

static void every_committed_capture_survives_a_power_failure(void **state)
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
    forget_folder(now);
    return status != 0;
}

/* The last test, for a child whose assertion failed runs whatever follows. */
static void a_sync_that_is_left_out_is_noticed(void **state)
{
    (void)state;
    assert_true(is_noticed(&(struct replay){.missing[FILE_LOG] = true}));
    assert_true(is_noticed(&(struct replay){.missing[FILE_DATABASE] = true}));
}

static int record(void **state)
{
    (void)state;
    size_t count;
    size_t kinds[STEP_RECEIPT + 1] = {0};
    size_t checkpoints = 0;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    srand(seed);
    if (!mkdtemp(afternoon))
        return -1;
    (void)snprintf(now, sizeof now, "%s/now", afternoon);
    work();
    const struct step *steps = record_steps(&count);
    for (size_t i = 0; i < count; i++) {
        kinds[steps[i].kind]++;
        checkpoints += steps[i].kind == STEP_SYNC && steps[i].file == FILE_DATABASE;
    }
    print_message("%zu steps: %zu writes, %zu syncs (%zu by checkpoints), %zu captures\n", count,
                  kinds[STEP_WRITE], kinds[STEP_SYNC], checkpoints, kinds[STEP_RECEIPT]);
    /* Otherwise this test would not be looking at what it is for. */
    return kinds[STEP_RECEIPT] == CAPTURES && checkpoints > 2 ? 0 : -1;
}

static int forget(void **state)
{
    (void)state;
    record_free();
    forget_folder(afternoon);
    return 0;
}

int main(int count, char **arguments)
{
    if (count > 1)
        failures = strtoul(arguments[1], NULL, 10);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_committed_capture_survives_a_power_failure),
        cmocka_unit_test(a_sync_that_is_left_out_is_noticed),
    };
    return cmocka_run_group_tests(tests, record, forget);
}
