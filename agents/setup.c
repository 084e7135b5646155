#include "setup.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/secret.h"
#include "platform.h"
#include "reach.h"
#include "watch.h"

#define NO_PROXY "none"
#define DEFAULT_SETTLE_US INT64_C(400000)
#define DEFAULT_SIZE_LIMIT INT64_C(67108864)

/* The proxy without name and password, and where that was said; false: none. What curl itself would
 * look at. */
bool wp_setup_proxy(const struct wp_setup *setup, char shown[WP_WIRE_TEXT], const char **from)
{
    static const char *const names[] = {"https_proxy", "HTTPS_PROXY", "all_proxy", "ALL_PROXY"};
    const char *proxy = setup->proxy;
    *from = "--proxy";
    for (size_t i = 0; !*proxy && i < sizeof names / sizeof names[0]; i++) {
        const char *value = getenv(names[i]);
        if (value && *value) {
            proxy = value;
            *from = names[i];
        }
    }
    if (!*proxy || !strcmp(proxy, NO_PROXY))
        return false;
    if (!wp_http_proxy_usable(proxy, shown, WP_WIRE_TEXT))
        (void)snprintf(shown, WP_WIRE_TEXT, "an address that is not shown");
    return true;
}

static void read_patterns(struct wp_spool *spool, struct wp_patterns *patterns)
{
    char text[WP_PATTERN_MOST];
    bool exclude = false;
    *patterns = (struct wp_patterns){0};
    for (int64_t n = 0; wp_spool_pattern(spool, n, text, sizeof text, &exclude); n++) {
        size_t *count = exclude ? &patterns->exclude_count : &patterns->include_count;
        char(*list)[WP_PATTERN_MOST] = exclude ? patterns->exclude : patterns->include;
        if (*count < WP_PATTERNS_MOST)
            memcpy(list[(*count)++], text, sizeof text);
    }
}

enum wp_status wp_setup_read(struct wp_spool *spool, struct wp_setup *setup, struct wp_error *error)
{
    char secret[48];
    memset(setup, 0, sizeof *setup);
    const struct {
        const char *name;
        char *text;
        size_t room;
    } settings[] = {
        {"gateway", setup->base, sizeof setup->base},
        {"pin", setup->pin, sizeof setup->pin},
        {"token", setup->token, sizeof setup->token},
        {"ca_file", setup->ca_file, sizeof setup->ca_file},
        {"proxy", setup->proxy, sizeof setup->proxy},
        {"instrument", setup->instrument, sizeof setup->instrument},
        {"place", setup->place, sizeof setup->place},
        {"secret", secret, sizeof secret},
    };
    /* Half a set-up would send to nowhere, or without the pin. */
    for (size_t i = 0; i < sizeof settings / sizeof settings[0]; i++) {
        enum wp_status status =
            wp_spool_read(spool, settings[i].name, settings[i].text, settings[i].room);
        if (status)
            return wp_fail(error, status, "the setting \"%s\" cannot be read: %s", settings[i].name,
                           wp_spool_message(spool));
    }
    setup->settle_us = wp_spool_whole(spool, "settle_us", DEFAULT_SETTLE_US);
    setup->size_limit = wp_spool_whole(spool, "size_limit", DEFAULT_SIZE_LIMIT);
    read_patterns(spool, &setup->patterns);
    if (!setup->token[0] || !wp_hex_decode(secret, setup->secret, sizeof setup->secret))
        return wp_fail(error, WP_NOT_FOUND, "this agent has not joined a gateway yet");
    return WP_OK;
}

struct wp_http *wp_setup_http(const struct wp_setup *setup, uv_loop_t *loop, unsigned connections)
{
    char pin[64] = "";
    if (setup->pin[0])
        wp_wire_pin_for_curl(setup->pin, pin);
    struct wp_http_options options = {
        .connections = connections,
        .ca_file = setup->ca_file[0] ? setup->ca_file : NULL,
        .pinned_key = pin[0] ? pin : NULL,
        .pin_only = pin[0] != '\0',
        .proxy = !strcmp(setup->proxy, NO_PROXY) ? ""
                 : setup->proxy[0]               ? setup->proxy
                                                 : NULL,
    };
    return wp_http_new(loop, &options);
}

/* The path from the root of the file system, as it will still be right when run as a service. */
static enum wp_status absolute(const char *path, char out[WP_SPOOL_PATH], struct wp_error *error)
{
    size_t size = WP_SPOOL_PATH;
    if (path[0] == '/' || (path[0] && path[1] == ':')) {
        if ((size_t)snprintf(out, WP_SPOOL_PATH, "%s", path) >= WP_SPOOL_PATH)
            return wp_fail(error, WP_INVALID, "a folder's path is too long");
    } else {
        if (uv_cwd(out, &size) || size + strlen(path) + 2 > WP_SPOOL_PATH)
            return wp_fail(error, WP_INVALID, "a folder's path is too long");
        out[size] = '/';
        memcpy(out + size + 1, path, strlen(path) + 1);
    }
    for (size_t length = strlen(out); length > 1 && out[length - 1] == '/'; length--)
        out[length - 1] = '\0';
    return WP_OK;
}

static bool listed(const struct wp_agent_options *options, const char *path)
{
    char whole[WP_SPOOL_PATH];
    for (size_t i = 0; i < options->watch_count; i++)
        if (!absolute(options->watch[i], whole, NULL) && !strcmp(whole, path))
            return true;
    return false;
}

static enum wp_status put_folders(struct wp_spool *spool, const struct wp_agent_options *options,
                                  struct wp_error *error)
{
    struct wp_spool_folder folder = {.id = 0};
    char whole[WP_SPOOL_PATH];
    enum wp_status status = WP_OK;
    while (!status && wp_spool_next_folder(spool, &folder))
        if (!listed(options, folder.path))
            status = wp_spool_drop_folder(spool, folder.path);
    for (size_t i = 0; !status && i < options->watch_count; i++) {
        if (absolute(options->watch[i], whole, error))
            return WP_INVALID;
        status = wp_spool_put_folder(spool, whole, options->backfill, wp_clock_utc());
    }
    return status ? wp_fail(error, status, "%s", wp_spool_message(spool)) : WP_OK;
}

static enum wp_status put_patterns(struct wp_spool *spool, const struct wp_patterns *patterns,
                                   struct wp_error *error)
{
    enum wp_status status = wp_spool_drop_patterns(spool);
    for (size_t i = 0; !status && i < patterns->include_count; i++)
        status = wp_spool_add_pattern(spool, patterns->include[i], false);
    for (size_t i = 0; !status && i < patterns->exclude_count; i++)
        status = wp_spool_add_pattern(spool, patterns->exclude[i], true);
    return status ? wp_fail(error, status, "%s", wp_spool_message(spool)) : WP_OK;
}

static enum wp_status put_limits(struct wp_spool *spool, const struct wp_agent_options *options,
                                 struct wp_error *error)
{
    enum wp_status status = WP_OK;
    if (options->settle_ms)
        status = wp_spool_set_whole(spool, "settle_us", options->settle_ms);
    if (!status && options->size_limit)
        status = wp_spool_set_whole(spool, "size_limit", options->size_limit);
    if (!status && options->spool_limit)
        status = wp_spool_set_whole(spool, "spool_limit", options->spool_limit);
    if (!status && options->ca_file)
        status = wp_spool_set_text(spool, "ca_file", options->ca_file);
    if (!status && options->proxy && *options->proxy && strcmp(options->proxy, NO_PROXY) != 0 &&
        !wp_http_proxy_usable(options->proxy, NULL, 0))
        return wp_fail(error, WP_INVALID,
                       "the proxy's address must be http://HOST:PORT, with NAME:PASSWORD@ before "
                       "HOST if it wants them (https, socks5 and socks5h are known as well), none, "
                       "or empty for the environment's");
    if (!status && options->proxy)
        status = wp_spool_set_text(spool, "proxy", options->proxy);
    return status ? wp_fail(error, status, "%s", wp_spool_message(spool)) : WP_OK;
}

/* Notes what is in the folders that are new to us, so that only what comes later is taken. */
static void note_folders(struct wp_spool *spool, const struct wp_setup *setup,
                         const struct wp_patterns *before)
{
    struct wp_spool_folder folder = {.id = 0};
    while (wp_spool_next_folder(spool, &folder)) {
        struct wp_error error;
        int64_t files = 0;
        if (folder.backfill) {
            printf("%s: the files that are there will be sent as well\n", folder.path);
            continue;
        }
        if (folder.ready && !before)
            continue;
        if (wp_watch_note(spool, &folder, &setup->patterns, folder.ready ? before : NULL,
                          setup->secret, &files, &error))
            printf("%s: cannot be read yet (%s); it is watched as soon as it can\n", folder.path,
                   error.text);
        else
            printf("%s: %lld files are there already and stay; new ones are sent\n", folder.path,
                   (long long)files);
    }
}

static enum wp_status put_all(struct wp_spool *spool, const struct wp_agent_options *options,
                              struct wp_error *error)
{
    enum wp_status status = WP_OK;
    if (options->watch_count)
        status = put_folders(spool, options, error);
    if (!status && options->has_patterns)
        status = put_patterns(spool, &options->patterns, error);
    return status ? status : put_limits(spool, options, error);
}

struct joining {
    struct wp_wire_joined joined;
    enum wp_status status;
    struct wp_error error;
};

static void joined(void *arg, const struct wp_http_answer *answer)
{
    struct joining *joining = arg;
    char why[WP_WIRE_TEXT];
    wp_reach_explain(answer, why);
    if (answer->trouble == WP_HTTP_PEER)
        joining->status = wp_fail(&joining->error, WP_RETRY,
                                  "the gateway was not reached: its key is not the one in the join "
                                  "string (or no authority vouches for it): %s",
                                  answer->error.text);
    else if (answer->status)
        joining->status =
            wp_fail(&joining->error, WP_RETRY, "the gateway was not reached: %s", why);
    else if (answer->code == 201 || answer->code == 200)
        joining->status =
            wp_wire_joined_get(answer->body, answer->size, &joining->joined, &joining->error);
    else if (answer->code == 404)
        joining->status = wp_fail(&joining->error, WP_DENIED,
                                  "the code is unknown or was used before; ask the administrator "
                                  "for a new join string");
    else if (answer->code == 410)
        joining->status = wp_fail(&joining->error, WP_DENIED,
                                  "the code has expired; ask the administrator for a new join "
                                  "string");
    else if (answer->code == 429)
        joining->status =
            wp_fail(&joining->error, WP_RETRY, "too many tries; wait %ld seconds and try again",
                    answer->retry_after_s > 0 ? answer->retry_after_s : 60);
    else
        joining->status = wp_fail(&joining->error, WP_IO, "the gateway did not enrol us: %s", why);
}

static enum wp_status ask_gateway(const struct wp_setup *setup, const char *code,
                                  struct joining *joining)
{
    char url[WP_WIRE_TEXT + 64];
    struct wp_wire_join message = {.time_us = wp_clock_utc()};
    struct wp_bytes body;
    uv_loop_t loop;
    (void)snprintf(url, sizeof url, "%s/api/v1/agents/join", setup->base);
    (void)snprintf(message.code, sizeof message.code, "%s", code);
    (void)snprintf(message.version, sizeof message.version, "%s", WP_VERSION);
    (void)snprintf(message.platform, sizeof message.platform, "%s", wp_platform_name());
    wp_bytes_init(&body, 4096);
    const char *headers[] = {"Content-Type: application/json", NULL};
    enum wp_status status = wp_wire_join_put(&message, &body);
    struct wp_http_request post = {
        .method = "POST", .url = url, .headers = headers, .body = body.data, .size = body.size};
    if (status || uv_loop_init(&loop))
        return wp_fail(&joining->error, WP_NO_MEMORY, "no memory");
    struct wp_http *http = wp_setup_http(setup, &loop, 1);
    status = http ? wp_http_send(http, &post, joined, joining) : WP_NO_MEMORY;
    if (status)
        (void)wp_fail(&joining->error, status, "the gateway's address is malformed");
    while (!status && wp_http_load(http) > 0)
        (void)uv_run(&loop, UV_RUN_ONCE);
    wp_http_free(http);
    (void)uv_run(&loop, UV_RUN_DEFAULT);
    (void)uv_loop_close(&loop);
    wp_bytes_release(&body);
    return status ? status : joining->status;
}

static enum wp_status keep_secret(struct wp_spool *spool, struct wp_setup *setup)
{
    char text[48];
    wp_spool_text(spool, "secret", text, sizeof text);
    if (wp_hex_decode(text, setup->secret, sizeof setup->secret))
        return WP_OK;
    wp_random(setup->secret, sizeof setup->secret);
    wp_hex_encode(setup->secret, sizeof setup->secret, text);
    return wp_spool_set_text(spool, "secret", text);
}

static enum wp_status keep_joined(struct wp_spool *spool, const struct wp_setup *setup,
                                  const struct wp_wire_joined *joined)
{
    char ledger[128];
    (void)snprintf(ledger, sizeof ledger, "%lld %s", (long long)joined->ledger.number,
                   joined->ledger.hash);
    /* The token last: an agent that has one has all. */
    enum wp_status status = wp_spool_set_text(spool, "gateway", setup->base);
    if (!status)
        status = wp_spool_set_text(spool, "pin", setup->pin);
    if (!status)
        status = wp_spool_set_text(spool, "instrument", joined->name);
    if (!status)
        status = wp_spool_set_text(spool, "place", joined->place);
    if (!status)
        status = wp_spool_set_whole(spool, "agent", joined->agent);
    if (!status)
        status = wp_spool_set_text(spool, "ledger", ledger);
    if (!status)
        status = wp_spool_set_text(spool, "paused", "0");
    if (!status)
        status = wp_spool_forgive(spool);
    return status ? status : wp_spool_set_text(spool, "token", joined->token);
}

static enum wp_status join_into(struct wp_spool *spool, const struct wp_agent_options *options,
                                struct wp_setup *setup, struct wp_error *error)
{
    struct wp_wire_join_string join;
    struct joining joining = {.status = WP_RETRY};
    enum wp_status status = wp_wire_join_string_get(options->join, &join, error);
    if (!status)
        status = put_all(spool, options, error);
    if (!status && keep_secret(spool, setup))
        status = wp_fail(error, WP_IO, "%s", wp_spool_message(spool));
    if (status)
        return status;
    memcpy(setup->base, join.base, sizeof setup->base);
    memcpy(setup->pin, join.pin, sizeof setup->pin);
    wp_spool_text(spool, "ca_file", setup->ca_file, sizeof setup->ca_file);
    wp_spool_text(spool, "proxy", setup->proxy, sizeof setup->proxy);
    status = ask_gateway(setup, join.code, &joining);
    if (status) {
        *error = joining.error;
        return status;
    }
    if (keep_joined(spool, setup, &joining.joined))
        return wp_fail(error, WP_IO, "%s", wp_spool_message(spool));
    return wp_setup_read(spool, setup, error);
}

/* Opens the state folder for changing it, alone. */
static enum wp_status open_alone(const struct wp_agent_options *options, struct wp_spool **spool,
                                 struct wp_error *error)
{
    enum wp_status status = wp_platform_private_folder(options->state, error);
    if (!status)
        status = wp_platform_lock(options->state, error);
    if (!status && wp_secret_init())
        status = wp_fail(error, WP_IO, "the system gives no random numbers");
    return status ? status : wp_spool_open(options->state, spool, error);
}

/* Folders, patterns and limits from the command line; for join the enrolment as well. */
static enum wp_status change(const struct wp_agent_options *options, struct wp_spool *spool,
                             struct wp_setup *setup, struct wp_error *error)
{
    if (options->verb == WP_VERB_JOIN)
        return join_into(spool, options, setup, error);
    enum wp_status status = put_all(spool, options, error);
    return status ? status : wp_setup_read(spool, setup, error);
}

int wp_agent_set_up(const struct wp_agent_options *options)
{
    struct wp_error error;
    struct wp_spool *spool = NULL;
    struct {
        struct wp_setup setup;
        struct wp_patterns before;
    } *room = calloc(1, sizeof *room);
    if (!room)
        return 1;
    enum wp_status status = open_alone(options, &spool, &error);
    if (!status) {
        read_patterns(spool, &room->before);
        status = change(options, spool, &room->setup, &error);
    }
    if (status) {
        (void)fprintf(stderr, "wavepost-agent: %s\n", error.text);
    } else {
        if (options->verb == WP_VERB_JOIN)
            printf("Joined %s as %s, %s\n", room->setup.base, room->setup.instrument,
                   room->setup.place);
        if (options->verb == WP_VERB_JOIN && wp_platform_passing(options->state))
            puts("WARNING: the state folder lies in memory; a restart empties it. Join again with "
                 "--state on a disk.");
        note_folders(spool, &room->setup, options->has_patterns ? &room->before : NULL);
    }
    wp_spool_close(spool);
    free(room);
    return status ? 1 : 0;
}
