#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "check_parts.h"
#include "platform.h"
#include "reach.h"
#include "walk.h"

#define CLOCK_WORTH_US (5 * WP_MINUTE)

static void check_clock(struct checking *checking, int64_t gateway_us)
{
    int64_t ahead = (checking->sent_us + wp_clock_utc()) / 2 - gateway_us;
    if (ahead > CLOCK_WORTH_US || ahead < -CLOCK_WORTH_US)
        check_fault(
            checking,
            "This PC's clock is %lld s %s the gateway's. Spectra are stamped by time: set the "
            "clock and let it follow a time server.",
            (long long)llabs(ahead / WP_SECOND), ahead > 0 ? "ahead of" : "behind");
    else
        check_well("Clock: %+.1f s against the gateway's", (double)ahead / 1e6);
}

static void heard(void *arg, const struct wp_http_answer *answer)
{
    struct checking *checking = arg;
    struct wp_wire_beaten message;
    struct wp_error error;
    char why[WP_WIRE_TEXT];
    if (answer->trouble == WP_HTTP_PEER)
        check_fault(checking,
                    "The gateway at %s shows another certificate than the one this agent trusts "
                    "(%s). Either the gateway has a new key: join again; or something stands "
                    "between: find out what before you do.",
                    checking->setup.base, answer->error.text);
    else if (answer->status) {
        wp_reach_why(answer, why);
        check_fault(checking, "The gateway at %s is not reached: %s.", checking->setup.base, why);
    } else if (answer->code == 401)
        check_fault(checking, "The gateway refuses this agent's token: join again with a new join "
                              "string.");
    else if (answer->code == 429 || answer->code >= 500) {
        wp_reach_explain(answer, why);
        check_fault(checking,
                    "The gateway at %s, or a proxy before it, is not able to answer just now (%s). "
                    "What is captured waits meanwhile; if it lasts, look at the gateway.",
                    checking->setup.base, why);
    } else if (answer->code != 200)
        check_fault(checking,
                    "What listens at %s answers %ld where a Wavepost gateway says 200: the address "
                    "leads somewhere else. Join again with a new join string.",
                    checking->setup.base, answer->code);
    else if (wp_wire_beaten_get(answer->body, answer->size, &message, &error))
        check_fault(checking, "The gateway's answer was not understood: %s", error.text);
    else {
        check_well("Gateway %s: reached, certificate and token good", checking->setup.base);
        check_clock(checking, message.time_us);
        if (!message.ledger_ok)
            check_fault(checking,
                        "The gateway's ledger lacks an entry that this agent witnessed: run "
                        "\"wavepost verify\" on the gateway.");
        if (message.paused)
            check_well("Capturing is paused by the gateway; it goes on when the pause is lifted");
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

static void check_proxy(struct checking *checking)
{
    char shown[WP_WIRE_TEXT];
    const char *from = NULL;
    if (wp_setup_proxy(&checking->setup, shown, &from))
        check_note("Proxy: %s, from %s%s", shown, from,
                   strcmp(from, "--proxy") != 0
                       ? ". A service has an environment of its own: what is said there counts, or "
                         "wavepost-agent set --proxy"
                       : "");
}

void check_gateway(struct checking *checking)
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
    check_proxy(checking);
    if (message)
        fill(checking, message);
    if (!message || wp_wire_heartbeat_put(message, &body) || uv_loop_init(&loop)) {
        check_fault(checking, "No memory to ask the gateway with");
    } else {
        struct wp_http *http = wp_setup_http(&checking->setup, &loop, 1);
        struct wp_http_request post = {
            .method = "POST", .url = url, .headers = headers, .body = body.data, .size = body.size};
        if (!http || wp_http_send(http, &post, heard, checking))
            check_fault(checking, "The gateway's address %s is malformed", checking->setup.base);
        while (http && wp_http_load(http) > 0)
            (void)uv_run(&loop, UV_RUN_ONCE);
        wp_http_free(http);
        (void)uv_run(&loop, UV_RUN_DEFAULT);
        (void)uv_loop_close(&loop);
    }
    wp_bytes_release(&body);
    free(message);
}
