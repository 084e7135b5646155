#include "base/lane.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define THREADS_MOST 64

struct item {
    wp_lane_work work;
    wp_lane_done done;
    void *job;
    bool ran;
    struct item *next;
};

struct list {
    struct item *first;
    struct item **end;
};

struct wp_lane {
    uv_async_t wake;
    pthread_mutex_t mutex;
    pthread_cond_t work_there;
    /* under the mutex */
    struct list waiting;
    struct list finished;
    bool stopping;
    /* of the loop thread alone */
    struct item *spare;
    size_t load;
    size_t most;
    bool was_full;
    void (*room)(void *arg);
    void *room_arg;
    /* fixed after the start */
    const char *name;
    pthread_t threads[THREADS_MOST];
    unsigned started;
    struct item items[];
};

static void list_init(struct list *list)
{
    list->first = NULL;
    list->end = &list->first;
}

static void list_add(struct list *list, struct item *item)
{
    item->next = NULL;
    *list->end = item;
    list->end = &item->next;
}

static struct item *list_take(struct list *list)
{
    struct item *item = list->first;
    if (!item)
        return NULL;
    list->first = item->next;
    if (!list->first)
        list->end = &list->first;
    return item;
}

static struct item *next_item(struct wp_lane *lane)
{
    (void)pthread_mutex_lock(&lane->mutex);
    while (!lane->waiting.first && !lane->stopping)
        (void)pthread_cond_wait(&lane->work_there, &lane->mutex);
    struct item *item = lane->stopping ? NULL : list_take(&lane->waiting);
    (void)pthread_mutex_unlock(&lane->mutex);
    return item;
}

static void *run_thread(void *arg)
{
    struct wp_lane *lane = arg;
    char name[16];
    (void)snprintf(name, sizeof name, "%s", lane->name);
    (void)pthread_setname_np(pthread_self(), name);
    struct item *item;
    while ((item = next_item(lane))) {
        item->work(item->job);
        item->ran = true;
        (void)pthread_mutex_lock(&lane->mutex);
        list_add(&lane->finished, item);
        (void)pthread_mutex_unlock(&lane->mutex);
        (void)uv_async_send(&lane->wake);
    }
    return NULL;
}

/* The item is free again before `done` runs, so that `done` may submit the next job. */
static void answer(struct wp_lane *lane, struct item *item)
{
    wp_lane_done done = item->done;
    void *job = item->job;
    bool ran = item->ran;
    item->next = lane->spare;
    lane->spare = item;
    lane->load--;
    done(job, ran);
}

static void answer_all(struct wp_lane *lane, struct list *list)
{
    for (;;) {
        (void)pthread_mutex_lock(&lane->mutex);
        struct item *item = list_take(list);
        (void)pthread_mutex_unlock(&lane->mutex);
        if (!item)
            return;
        answer(lane, item);
    }
}

static void on_wake(uv_async_t *wake)
{
    struct wp_lane *lane = wake->data;
    answer_all(lane, &lane->finished);
    if (lane->was_full && lane->load < lane->most && !lane->stopping) {
        lane->was_full = false;
        if (lane->room)
            lane->room(lane->room_arg);
    }
}

static void free_memory(uv_handle_t *wake)
{
    struct wp_lane *lane = wake->data;
    (void)pthread_cond_destroy(&lane->work_there);
    (void)pthread_mutex_destroy(&lane->mutex);
    free(lane);
}

static struct wp_lane *allocate(const char *name, size_t most)
{
    struct wp_lane *lane = calloc(1, sizeof *lane + most * sizeof lane->items[0]);
    if (!lane)
        return NULL;
    lane->name = name;
    lane->most = most;
    list_init(&lane->waiting);
    list_init(&lane->finished);
    for (size_t i = 0; i < most; i++) {
        lane->items[i].next = lane->spare;
        lane->spare = &lane->items[i];
    }
    (void)pthread_mutex_init(&lane->mutex, NULL);
    (void)pthread_cond_init(&lane->work_there, NULL);
    return lane;
}

struct wp_lane *wp_lane_new(uv_loop_t *loop, const char *name, unsigned threads, size_t most)
{
    if (threads < 1 || threads > THREADS_MOST || most < 1)
        return NULL;
    struct wp_lane *lane = allocate(name, most);
    if (!lane)
        return NULL;
    lane->wake.data = lane;
    if (uv_async_init(loop, &lane->wake, on_wake)) {
        free_memory((uv_handle_t *)&lane->wake);
        return NULL;
    }
    for (; lane->started < threads; lane->started++) {
        if (pthread_create(&lane->threads[lane->started], NULL, run_thread, lane)) {
            wp_lane_free(lane);
            return NULL;
        }
    }
    return lane;
}

enum wp_status wp_lane_submit(struct wp_lane *lane, wp_lane_work work, wp_lane_done done, void *job)
{
    /* Only the loop thread sets `stopping`, so it may read it here without the mutex. */
    if (lane->stopping || !lane->spare) {
        lane->was_full = true;
        return WP_RETRY;
    }
    struct item *item = lane->spare;
    lane->spare = item->next;
    lane->load++;
    *item = (struct item){.work = work, .done = done, .job = job};
    (void)pthread_mutex_lock(&lane->mutex);
    list_add(&lane->waiting, item);
    (void)pthread_mutex_unlock(&lane->mutex);
    (void)pthread_cond_signal(&lane->work_there);
    return WP_OK;
}

size_t wp_lane_load(const struct wp_lane *lane)
{
    return lane->load;
}

void wp_lane_on_room(struct wp_lane *lane, void (*room)(void *arg), void *arg)
{
    lane->room = room;
    lane->room_arg = arg;
}

void wp_lane_free(struct wp_lane *lane)
{
    if (!lane || lane->stopping)
        return;
    (void)pthread_mutex_lock(&lane->mutex);
    lane->stopping = true;
    (void)pthread_mutex_unlock(&lane->mutex);
    (void)pthread_cond_broadcast(&lane->work_there);
    for (unsigned i = 0; i < lane->started; i++)
        (void)pthread_join(lane->threads[i], NULL);
    answer_all(lane, &lane->finished);
    answer_all(lane, &lane->waiting);
    uv_close((uv_handle_t *)&lane->wake, free_memory);
}
