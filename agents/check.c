#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/secret.h"
#include "platform.h"
#include "report.h"
#include "setup.h"
#include "tell.h"
#include "walk.h"

#define CLOCK_WORTH_US (5 * WP_MINUTE)
#define DISK_LEAST (256LL * 1024 * 1024)
#define FILES_MANY 20000

struct checking {
    struct wp_spool *spool;
    struct wp_setup setup;
    const char *state;
    unsigned faults;
    bool answered;
    int64_t sent_us;
};

static void well(const char *format, ...) __attribute__((format(printf, 1, 2)));
static void fault(struct checking *checking, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void line(const char *mark, const char *format, va_list arguments)
{
    char text[1024];
    (void)vsnprintf(text, sizeof text, format, arguments);
    printf("%s %s\n", mark, text);
}

static void well(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    line("ok    ", format, arguments);
    va_end(arguments);
}

static void fault(struct checking *checking, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    line("FAULT ", format, arguments);
    va_end(arguments);
    checking->faults++;
}

static bool count_folder(void *arg, const char *path, const struct wp_look *look)
{
    (void)path;
    (void)look;
    ++*(size_t *)arg;
    return true;
}

static bool count_file(void *arg, const char *path, const struct wp_look *look)
{
    (void)arg;
    (void)path;
    (void)look;
    return true;
}

static void check_folder(struct checking *checking, const struct wp_spool_folder *folder)
{
    struct wp_error error;
    size_t folders = 0;
    struct wp_walk walk = {.root = folder->path,
                           .patterns = &checking->setup.patterns,
                           .folder = count_folder,
                           .file = count_file,
                           .arg = &folders};
    enum wp_status status = wp_walk(&walk, &error);
    if (status == WP_NOT_FOUND)
        fault(checking,
              "Folder %s is not there. Is the path right? A service sees no drives mapped by a "
              "signed-in user and no redirected folders: use the share's own path.",
              folder->path);
    else if (status)
        fault(checking,
              "Folder %s cannot be read: %s. Give the account that runs the agent the right to "
              "list and read it.",
              folder->path, error.text);
    else if (!walk.complete)
        fault(checking,
              "Folder %s: some subfolders cannot be read. Give the agent's account the right to "
              "read them, or leave them out with --exclude.",
              folder->path);
    else
        well("Folder %s: readable, %zu files in %zu folders%s", folder->path, walk.files, folders,
             wp_platform_remote(folder->path)
                 ? "; a network share, so new files are found by walking, within seconds"
                 : "");
    if (!status && walk.files > FILES_MANY)
        well("Folder %s holds many files; moving old ones away makes finding new ones quicker",
             folder->path);
}

static void check_folders(struct checking *checking)
{
    struct wp_spool_folder folder = {.id = 0};
    size_t count = 0;
    for (; wp_spool_next_folder(checking->spool, &folder); count++)
        check_folder(checking, &folder);
    if (!count)
        fault(checking, "No folder is watched: wavepost-agent set --watch DIR --state %s",
              checking->state);
}

static void check_clock(struct checking *checking, int64_t gateway_us)
{
    int64_t ahead = (checking->sent_us + wp_clock_utc()) / 2 - gateway_us;
    if (ahead > CLOCK_WORTH_US || ahead < -CLOCK_WORTH_US)
        fault(checking,
              "This PC's clock is %lld s %s the gateway's. Spectra are stamped by time: set the "
              "clock and let it follow a time server.",
              (long long)llabs(ahead / WP_SECOND), ahead > 0 ? "ahead of" : "behind");
    else
        well("Clock: %+.1f s against the gateway's", (double)ahead / 1e6);
}

static void heard(void *arg, const struct wp_http_answer *answer)
{
    struct checking *checking = arg;
    struct wp_wire_beaten message;
    struct wp_error error;
    checking->answered = true;
    if (answer->status && answer->tls_failed)
        fault(checking,
              "The gateway at %s shows another certificate than the one this agent trusts (%s). "
              "Either the gateway has a new key: join again; or something stands between: find "
              "out what before you do.",
              checking->setup.base, answer->error.text);
    else if (answer->status)
        fault(checking,
              "The gateway at %s is not reached: %s. Is it running, is the name right, does a "
              "firewall or proxy let this PC out to that port?",
              checking->setup.base, answer->error.text);
    else if (answer->code == 401)
        fault(checking, "The gateway refuses this agent's token: join again with a new join "
                        "string.");
    else if (answer->code != 200)
        fault(checking,
              "The gateway answers %ld where it should say 200; is %s a Wavepost "
              "gateway?",
              answer->code, checking->setup.base);
    else if (wp_wire_beaten_get(answer->body, answer->size, &message, &error))
        fault(checking, "The gateway's answer was not understood: %s", error.text);
    else {
        well("Gateway %s: reached, certificate and token good", checking->setup.base);
        check_clock(checking, message.time_us);
        if (!message.ledger_ok)
            fault(checking, "The gateway's ledger lacks an entry that this agent witnessed: run "
                            "\"wavepost verify\" on the gateway.");
        if (message.paused)
            well("Capturing is paused by the gateway; it goes on when the pause is lifted");
    }
}

/* The gateway's only question that needs the token and changes nothing else is a heartbeat. */
static void fill(struct checking *checking, struct wp_wire_heartbeat *message)
{
    struct wp_spool_load load;
    struct wp_spool_folder folder = {.id = 0};
    char ledger[128];
    long long number = 0;
    wp_spool_load(checking->spool, &load);
    wp_spool_text(checking->spool, "ledger", ledger, sizeof ledger);
    (void)snprintf(message->ledger.hash, sizeof message->ledger.hash, "%064d", 0);
    if (sscanf(ledger, "%lld %64[0-9a-fA-F]", &number, message->ledger.hash) == 2)
        message->ledger.number = number;
    (void)snprintf(message->version, sizeof message->version, "%s", WP_VERSION);
    checking->sent_us = message->time_us = wp_clock_utc();
    message->steady_us = wp_clock_steady();
    wp_clock_boot_id(message->boot_id);
    message->queue_count = load.waiting;
    message->queue_bytes = load.waiting_bytes;
    message->has_oldest = load.waiting > 0;
    message->oldest_us = load.oldest_us;
    message->spool_limit = load.limit;
    message->refused = load.refused;
    long long disk = wp_platform_disk_free(checking->state);
    message->disk_free = disk > 0 ? disk : 0;
    while (message->folder_count < WP_WIRE_FOLDERS &&
           wp_spool_next_folder(checking->spool, &folder)) {
        struct wp_wire_folder *said = &message->folders[message->folder_count++];
        struct wp_look look;
        enum wp_thing thing = WP_THING_ELSE;
        wp_wire_path(folder.path, strlen(folder.path), WP_WIRE_PATH - 1, said->path);
        said->ok = !wp_look_at(folder.path, &look, &thing);
    }
}

static void check_gateway(struct checking *checking)
{
    char url[WP_WIRE_TEXT + 64];
    char bearer[WP_WIRE_TOKEN + 32];
    struct wp_bytes body;
    uv_loop_t loop;
    struct wp_wire_heartbeat *message = calloc(1, sizeof *message);
    wp_bytes_init(&body, 256 * 1024);
    (void)snprintf(url, sizeof url, "%s/api/v1/agents/heartbeat", checking->setup.base);
    (void)snprintf(bearer, sizeof bearer, "Authorization: Bearer %s", checking->setup.token);
    const char *headers[] = {bearer, "Content-Type: application/json", NULL};
    if (message)
        fill(checking, message);
    if (!message || wp_wire_heartbeat_put(message, &body) || uv_loop_init(&loop)) {
        fault(checking, "No memory to ask the gateway with");
    } else {
        struct wp_http *http = wp_setup_http(&checking->setup, &loop, 1);
        struct wp_http_request post = {
            .method = "POST", .url = url, .headers = headers, .body = body.data, .size = body.size};
        if (!http || wp_http_send(http, &post, heard, checking))
            fault(checking, "The gateway's address %s is malformed", checking->setup.base);
        while (http && wp_http_load(http) > 0)
            (void)uv_run(&loop, UV_RUN_ONCE);
        wp_http_free(http);
        (void)uv_run(&loop, UV_RUN_DEFAULT);
        (void)uv_loop_close(&loop);
    }
    wp_bytes_release(&body);
    free(message);
}

static void check_spool(struct checking *checking)
{
    struct wp_spool_load load;
    long long disk = wp_platform_disk_free(checking->state);
    wp_spool_load(checking->spool, &load);
    int64_t held = load.waiting_bytes + load.refused_bytes;
    if (held > load.limit / 100 * 80)
        fault(checking,
              "The spool is %lld %% full: when it is full nothing more is taken. Bring "
              "the gateway back, or raise --spool-limit.",
              (long long)(held * 100 / load.limit));
    else
        well("Spool: %lld wait, %.1f of %.0f MiB", (long long)load.waiting,
             (double)held / 1048576.0, (double)load.limit / 1048576.0);
    if (load.refused)
        fault(checking,
              "%lld captures were refused by the gateway and are kept here; status says "
              "why. After the cause is gone, join again: then they are sent anew.",
              (long long)load.refused);
    if (disk >= 0 && disk < DISK_LEAST)
        fault(checking, "Only %lld MiB are free on the disk of %s", disk / 1048576,
              checking->state);
    if (wp_platform_locked(checking->state))
        well("The agent is running");
    else
        fault(checking,
              "The agent is not running. If this PC is put back to an image at each "
              "start, keep %s on a disk that is not: it holds spectra and the token.",
              checking->state);
}

int wp_agent_check(const struct wp_agent_options *options)
{
    struct wp_error error;
    struct checking *checking = calloc(1, sizeof *checking);
    if (!checking)
        return 2;
    enum wp_status status = wp_spool_open_to_read(options->state, &checking->spool, &error);
    if (!status && wp_secret_init())
        status = wp_fail(&error, WP_IO, "the system gives no random numbers");
    if (!status)
        status = wp_setup_read(checking->spool, &checking->setup, &error);
    if (status) {
        (void)fprintf(stderr, "wavepost-agent: %s\n", error.text);
    } else {
        checking->state = options->state;
        check_folders(checking);
        check_gateway(checking);
        check_spool(checking);
        if (checking->faults)
            printf("%u faults\n", checking->faults);
        else
            puts("All well");
    }
    int code = status ? 2 : checking->faults ? 1 : 0;
    wp_spool_close(checking->spool);
    free(checking);
    return code;
}
