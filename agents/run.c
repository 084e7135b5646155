#include "run.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "base/secret.h"
#include "beat.h"
#include "platform.h"
#include "push.h"
#include "report.h"
#include "setup.h"
#include "watch.h"

#define CONNECTIONS 3
#define ALARM_PERCENT 80
#define REPORT_DELAY_MS 200

struct agent {
    const char *state_folder;
    uv_loop_t loop;
    uv_signal_t term, interrupt;
    uv_async_t wake;
    uv_timer_t report_timer;
    struct wp_http *http;
    struct wp_spool *spool;
    struct wp_setup setup;
    struct wp_push *push;
    struct wp_beat *beat;
    size_t count;
    struct wp_watch *watches[WP_WIRE_FOLDERS];
    struct wp_wire_folder folders[WP_WIRE_FOLDERS];
    struct wp_watch_state states[WP_WIRE_FOLDERS];
    int64_t started_us;
    bool paused, alarmed, stopping, broken;
    uv_mutex_t guard;
    char broken_text[256];
};

/* ---- called from the folders' threads ---- */

static void on_captured(void *arg)
{
    struct agent *agent = arg;
    (void)uv_async_send(&agent->wake);
}

static void on_event(void *arg, enum wp_wire_event_kind kind, const char *text)
{
    struct agent *agent = arg;
    wp_beat_event(agent->beat, kind, text);
}

static void on_broken(void *arg, const char *text)
{
    struct agent *agent = arg;
    uv_mutex_lock(&agent->guard);
    agent->broken = true;
    (void)snprintf(agent->broken_text, sizeof agent->broken_text, "%s", text);
    uv_mutex_unlock(&agent->guard);
    (void)uv_async_send(&agent->wake);
}

/* ---- on the loop ---- */

static void look_at_folders(struct agent *agent)
{
    for (size_t i = 0; i < agent->count; i++) {
        struct wp_watch_state *state = &agent->states[i];
        wp_watch_state(agent->watches[i], state);
        agent->folders[i].ok = state->ok;
        (void)snprintf(agent->folders[i].text, sizeof agent->folders[i].text, "%s", state->text);
    }
}

static void write_report(uv_timer_t *timer)
{
    struct agent *agent = timer->data;
    struct wp_beat_state beat;
    look_at_folders(agent);
    wp_beat_state(agent->beat, &beat);
    struct wp_report report = {
        .started_us = agent->started_us,
        .beat = &beat,
        .push = wp_push_state(agent->push),
        .folder_count = agent->count,
        .folders = agent->folders,
        .states = agent->states,
    };
    (void)wp_report_write(agent->state_folder, &report);
    wp_platform_tidy();
}

static void report_soon(struct agent *agent)
{
    if (!uv_is_closing((uv_handle_t *)&agent->report_timer) &&
        !uv_is_active((uv_handle_t *)&agent->report_timer))
        (void)uv_timer_start(&agent->report_timer, write_report, REPORT_DELAY_MS, 0);
}

static void push_changed(void *arg)
{
    report_soon(arg);
}

static void beat_changed(void *arg)
{
    struct agent *agent = arg;
    struct wp_beat_state beat;
    wp_beat_state(agent->beat, &beat);
    if (beat.paused != agent->paused) {
        agent->paused = beat.paused;
        for (size_t i = 0; i < agent->count; i++)
            wp_watch_pause(agent->watches[i], agent->paused);
        (void)wp_spool_set_whole(agent->spool, "paused", agent->paused);
    }
    report_soon(agent);
}

static void watch_spool(struct agent *agent, const struct wp_spool_load *load)
{
    char text[160];
    int64_t held = load->waiting_bytes + load->refused_bytes;
    bool high = held > load->limit / 100 * ALARM_PERCENT;
    if (high && !agent->alarmed) {
        (void)snprintf(text, sizeof text,
                       "%lld spectra wait for the gateway and fill more than %d %% of the spool.",
                       (long long)load->waiting, ALARM_PERCENT);
        wp_log(WP_LOG_ERROR, "agent", "%s", text);
        wp_beat_event(agent->beat, WP_EVENT_SPOOL_ALARM, text);
    }
    agent->alarmed = high;
}

static void fill(void *arg, struct wp_wire_heartbeat *message)
{
    struct agent *agent = arg;
    struct wp_spool_load load;
    wp_spool_load(agent->spool, &load);
    look_at_folders(agent);
    message->queue_count = load.waiting;
    message->queue_bytes = load.waiting_bytes;
    message->has_oldest = load.waiting > 0;
    message->oldest_us = load.oldest_us;
    message->spool_limit = load.limit;
    message->refused = load.refused;
    long long disk = wp_platform_disk_free(agent->state_folder);
    message->disk_free = disk > 0 ? disk : 0;
    message->ledger = wp_push_state(agent->push)->ledger;
    message->folder_count = agent->count;
    for (size_t i = 0; i < agent->count; i++) {
        message->folders[i] = agent->folders[i];
        message->spool_stopped = message->spool_stopped || agent->states[i].stopped;
    }
    watch_spool(agent, &load);
}

static void close_handle(uv_handle_t *handle)
{
    if (!uv_is_closing(handle))
        uv_close(handle, NULL);
}

/* In order: nothing more is taken, what is under way to the gateway is dropped (it will be sent
 * again), the last state is written down. */
static void stop(struct agent *agent)
{
    if (agent->stopping)
        return;
    agent->stopping = true;
    for (size_t i = 0; i < agent->count; i++)
        wp_watch_stop(agent->watches[i]);
    agent->count = 0;
    wp_http_free(agent->http);
    wp_push_free(agent->push);
    wp_beat_free(agent->beat);
    close_handle((uv_handle_t *)&agent->term);
    close_handle((uv_handle_t *)&agent->interrupt);
    close_handle((uv_handle_t *)&agent->report_timer);
    close_handle((uv_handle_t *)&agent->wake);
}

static void on_signal(uv_signal_t *signal, int number)
{
    wp_log(WP_LOG_INFO, "agent", "stopping (signal %d)", number);
    stop(signal->data);
}

static void push_broken(void *arg, const char *text)
{
    on_broken(arg, text);
}

static void woken(uv_async_t *async)
{
    struct agent *agent = async->data;
    struct wp_spool_load load;
    uv_mutex_lock(&agent->guard);
    bool broken = agent->broken;
    uv_mutex_unlock(&agent->guard);
    if (broken) {
        wp_log(WP_LOG_ERROR, "agent", "the spool cannot be trusted, stopping: %s",
               agent->broken_text);
        stop(agent);
        return;
    }
    wp_push_kick(agent->push);
    wp_spool_load(agent->spool, &load);
    watch_spool(agent, &load);
    report_soon(agent);
}

static bool start_watches(struct agent *agent)
{
    struct wp_watch_options options = {
        .spool = agent->spool,
        .patterns = &agent->setup.patterns,
        .settle_us = agent->setup.settle_us,
        .size_limit = agent->setup.size_limit,
        .paused = agent->paused,
        .arg = agent,
        .captured = on_captured,
        .event = on_event,
        .broken = on_broken,
    };
    memcpy(options.secret, agent->setup.secret, sizeof options.secret);
    while (agent->count < WP_WIRE_FOLDERS && wp_spool_next_folder(agent->spool, &options.folder)) {
        struct wp_wire_folder *folder = &agent->folders[agent->count];
        const char *path = options.folder.path;
        wp_wire_path(path, strlen(path), WP_WIRE_PATH - 1, folder->path);
        agent->watches[agent->count] = wp_watch_start(&options);
        if (!agent->watches[agent->count])
            return false;
        agent->count++;
    }
    return true;
}

static bool start_sending(struct agent *agent)
{
    agent->http = wp_setup_http(&agent->setup, &agent->loop, CONNECTIONS);
    if (!agent->http)
        return false;
    struct wp_push_options push = {
        .loop = &agent->loop,
        .http = agent->http,
        .spool = agent->spool,
        .base = agent->setup.base,
        .token = agent->setup.token,
        .arg = agent,
        .changed = push_changed,
        .broken = push_broken,
    };
    struct wp_beat_options beat = {
        .loop = &agent->loop,
        .http = agent->http,
        .base = agent->setup.base,
        .token = agent->setup.token,
        .arg = agent,
        .fill = fill,
        .changed = beat_changed,
    };
    agent->push = wp_push_new(&push);
    agent->beat = wp_beat_new(&beat, agent->paused);
    return agent->push && agent->beat;
}

static bool start_loop(struct agent *agent)
{
    if (uv_loop_init(&agent->loop) || uv_mutex_init(&agent->guard))
        return false;
    agent->term.data = agent->interrupt.data = agent->wake.data = agent->report_timer.data = agent;
    (void)uv_timer_init(&agent->loop, &agent->report_timer);
    return !uv_async_init(&agent->loop, &agent->wake, woken) &&
           !uv_signal_init(&agent->loop, &agent->term) &&
           !uv_signal_init(&agent->loop, &agent->interrupt) &&
           !uv_signal_start(&agent->term, on_signal, SIGTERM) &&
           !uv_signal_start(&agent->interrupt, on_signal, SIGINT);
}

static int work(struct agent *agent)
{
    if (!start_loop(agent) || !start_sending(agent) || !start_watches(agent)) {
        wp_log(WP_LOG_ERROR, "agent", "no memory or no threads to start with");
        return 1;
    }
    wp_log(WP_LOG_INFO, "agent", "watching %zu folders, sending to %s", agent->count,
           agent->setup.base);
    (void)uv_async_send(&agent->wake);
    (void)uv_run(&agent->loop, UV_RUN_DEFAULT);
    (void)uv_loop_close(&agent->loop);
    return agent->broken ? 1 : 0;
}

int wp_agent_run(const struct wp_agent_options *options)
{
    struct wp_error error;
    struct agent *agent = calloc(1, sizeof *agent);
    if (!agent)
        return 1;
    agent->state_folder = options->state;
    agent->started_us = wp_clock_utc();
    enum wp_status status = wp_platform_private_folder(options->state, &error);
    if (!status)
        status = wp_platform_lock(options->state, &error);
    if (!status && wp_secret_init())
        status = wp_fail(&error, WP_IO, "the system gives no random numbers");
    if (!status)
        status = wp_spool_open(options->state, &agent->spool, &error);
    if (!status)
        status = wp_setup_read(agent->spool, &agent->setup, &error);
    if (!status)
        agent->paused = wp_spool_whole(agent->spool, "paused", 0) != 0;
    if (status)
        wp_log(WP_LOG_ERROR, "agent", "%s", error.text);
    int code = status ? 1 : work(agent);
    wp_spool_close(agent->spool);
    free(agent);
    return code;
}
