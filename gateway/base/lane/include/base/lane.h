/* base/lane.h - a bounded queue of work for a few threads, with answers on the loop.
 *
 * The loop thread submits; a lane's thread runs `work`; the loop thread runs `done`. `done` is
 * always called exactly once for a job that was accepted, also at shutdown (then `work` may have
 * been skipped and `ran` is false).
 *
 * Thread: every function here on the loop thread, unless said otherwise.
 */
#ifndef BASE_LANE_H
#define BASE_LANE_H

#include <stdbool.h>
#include <stddef.h>
#include <uv.h>

#include "base/status.h"

struct wp_lane;
typedef void (*wp_lane_work)(void *job);
typedef void (*wp_lane_done)(void *job, bool ran);

/* `threads` from 1 to 64, `most` jobs accepted and not yet answered. The name is for logs and must
 * be a literal. NULL if out of memory or threads. */
struct wp_lane *wp_lane_new(uv_loop_t *loop, const char *name, unsigned threads, size_t most);

/* WP_RETRY if the lane is full (the caller suspends its request or answers 503), else WP_OK. */
enum wp_status wp_lane_submit(struct wp_lane *lane, wp_lane_work work, wp_lane_done done,
                              void *job);

/* Jobs accepted and not yet answered. */
size_t wp_lane_load(const struct wp_lane *lane);

/* Called (if not NULL) on the loop when a lane that refused a job has room again. */
void wp_lane_on_room(struct wp_lane *lane, void (*room)(void *arg), void *arg);

/* Stops: running jobs finish (the call waits for them), threads are joined, every job not yet
 * answered is answered before the call returns, those that never ran with ran = false; the memory
 * is freed when the loop next turns. Jobs submitted meanwhile are refused. NULL is harmless. */
void wp_lane_free(struct wp_lane *lane);

#endif
