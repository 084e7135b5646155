#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/lane.h"

struct job {
    int worked;
    int done;
    int skipped;
    uv_sem_t *gate;
};

static void work(void *arg)
{
    struct job *job = arg;
    if (job->gate)
        uv_sem_wait(job->gate);
    job->worked++;
}

static void done(void *arg, bool ran)
{
    struct job *job = arg;
    job->done++;
    job->skipped += !ran;
}

static void turn_until(uv_loop_t *loop, const int *value, int wanted)
{
    for (int i = 0; i < 1000 && *value < wanted; i++)
        (void)uv_run(loop, UV_RUN_ONCE);
    assert_int_equal(*value, wanted);
}

static void finish(uv_loop_t *loop, struct wp_lane *lane)
{
    wp_lane_free(lane);
    (void)uv_run(loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(loop), 0);
}

static void every_job_is_answered_once(void **state)
{
    (void)state;
    uv_loop_t loop;
    assert_int_equal(uv_loop_init(&loop), 0);
    struct wp_lane *lane = wp_lane_new(&loop, "test", 4, 100);
    static struct job jobs[100];
    for (int i = 0; i < 100; i++)
        assert_int_equal(wp_lane_submit(lane, work, done, &jobs[i]), WP_OK);
    while (wp_lane_load(lane))
        (void)uv_run(&loop, UV_RUN_ONCE);
    for (int i = 0; i < 100; i++) {
        assert_int_equal(jobs[i].worked, 1);
        assert_int_equal(jobs[i].done, 1);
        assert_int_equal(jobs[i].skipped, 0);
    }
    finish(&loop, lane);
}

static void count_room(void *arg)
{
    ++*(int *)arg;
}

static void a_full_lane_refuses_and_tells_when_it_has_room(void **state)
{
    (void)state;
    uv_loop_t loop;
    uv_sem_t gate;
    assert_int_equal(uv_loop_init(&loop), 0);
    assert_int_equal(uv_sem_init(&gate, 0), 0);
    struct wp_lane *lane = wp_lane_new(&loop, "test", 1, 2);
    int rooms = 0;
    wp_lane_on_room(lane, count_room, &rooms);
    struct job jobs[3] = {{.gate = &gate}, {.gate = &gate}, {.gate = &gate}};
    assert_int_equal(wp_lane_submit(lane, work, done, &jobs[0]), WP_OK);
    assert_int_equal(wp_lane_submit(lane, work, done, &jobs[1]), WP_OK);
    assert_int_equal(wp_lane_submit(lane, work, done, &jobs[2]), WP_RETRY);
    uv_sem_post(&gate);
    turn_until(&loop, &rooms, 1);
    assert_int_equal(wp_lane_submit(lane, work, done, &jobs[2]), WP_OK);
    uv_sem_post(&gate);
    uv_sem_post(&gate);
    turn_until(&loop, &jobs[2].done, 1);
    assert_int_equal(rooms, 1);
    finish(&loop, lane);
    uv_sem_destroy(&gate);
}

static void work_slowly(void *arg)
{
    uv_sleep(50);
    work(arg);
}

static void stopping_answers_jobs_that_never_ran(void **state)
{
    (void)state;
    uv_loop_t loop;
    assert_int_equal(uv_loop_init(&loop), 0);
    struct wp_lane *lane = wp_lane_new(&loop, "test", 1, 8);
    struct job jobs[8] = {{0}};
    for (int i = 0; i < 8; i++)
        assert_int_equal(wp_lane_submit(lane, work_slowly, done, &jobs[i]), WP_OK);
    wp_lane_free(lane);
    int skipped = 0;
    for (int i = 0; i < 8; i++) {
        assert_int_equal(jobs[i].done, 1);
        assert_int_equal(jobs[i].worked + jobs[i].skipped, 1);
        skipped += jobs[i].skipped;
    }
    assert_in_range(skipped, 1, 8);
    (void)uv_run(&loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(&loop), 0);
}

static void wrong_sizes_make_no_lane(void **state)
{
    (void)state;
    assert_null(wp_lane_new(uv_default_loop(), "test", 0, 1));
    assert_null(wp_lane_new(uv_default_loop(), "test", 65, 1));
    assert_null(wp_lane_new(uv_default_loop(), "test", 1, 0));
    wp_lane_free(NULL);
    assert_int_equal(uv_loop_close(uv_default_loop()), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_job_is_answered_once),
        cmocka_unit_test(a_full_lane_refuses_and_tells_when_it_has_room),
        cmocka_unit_test(stopping_answers_jobs_that_never_ran),
        cmocka_unit_test(wrong_sizes_make_no_lane),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
