#include "gateway.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "acts/site.h"
#include "base/lane.h"
#include "base/log.h"
#include "base/secret.h"
#include "db/db.h"
#include "store/store.h"
#include "web/web.h"

#define COMPUTE_JOBS 512
#define PASSWORD_JOBS 64
#define EXPORT_THREADS 2
#define EXPORT_JOBS 32

struct gateway {
    const struct wp_settings *settings;
    uv_loop_t loop;
    bool has_loop;
    bool broken; /* the storage failed */
    struct wp_tls tls;
    struct wp_db *db;
    struct wp_store *store;
    struct wp_sheet_fonts *fonts;
    struct wp_lane *compute, *passwords, *exports;
    struct wp_web *web;
    uv_signal_t signals[2];
    int signal_count;
};

/* ---- parts, in the order in which they start ---- */

static enum wp_status prepare_process(struct gateway *gateway, struct wp_error *error)
{
    const char *zone = wp_config_text(gateway->settings->config, "gateway", "timezone");
    if (zone[0])
        setenv("TZ", zone, 1);
    tzset();
    signal(SIGPIPE, SIG_IGN);
    struct rlimit files;
    if (getrlimit(RLIMIT_NOFILE, &files) == 0) {
        files.rlim_cur = files.rlim_max;
        setrlimit(RLIMIT_NOFILE, &files);
    }
    if (uv_loop_init(&gateway->loop) != 0)
        return wp_fail(error, WP_NO_MEMORY, "The event loop could not be made.");
    gateway->has_loop = true;
    return wp_secret_init();
}

static enum wp_status make_folder(struct gateway *gateway, struct wp_error *error)
{
    const char *folder = gateway->settings->data;
    if (mkdir(folder, 0700) == 0 || errno == EEXIST)
        return WP_OK;
    return wp_fail(error, WP_IO, "The data folder %s cannot be made: %s.", folder, strerror(errno));
}

static void on_broken(void *arg)
{
    struct gateway *gateway = arg;
    wp_log(WP_LOG_ERROR, "gateway", "the storage failed; stopping, a restart recovers");
    gateway->broken = true;
    uv_stop(&gateway->loop);
}

static void on_committed(void *arg)
{
    struct gateway *gateway = arg;
    if (gateway->web)
        wp_web_committed(gateway->web);
}

static enum wp_status open_database(struct gateway *gateway, struct wp_error *error)
{
    struct wp_db_options options = {
        .folder = gateway->settings->data,
        .readers = (unsigned)wp_config_int(gateway->settings->config, "gateway", "readers"),
        .broken = on_broken,
        .committed = on_committed,
        .arg = gateway};
    return wp_db_open(&options, &gateway->db, error);
}

static enum wp_status open_store(struct gateway *gateway, struct wp_error *error)
{
    return wp_store_open_folder(gateway->settings->data, &gateway->store, error);
}

static enum wp_status load_certificate(struct gateway *gateway, struct wp_error *error)
{
    const struct wp_config *config = gateway->settings->config;
    const char *certificate = wp_config_text(config, "gateway", "certificate");
    enum wp_status status =
        certificate[0]
            ? wp_tls_load(certificate, wp_config_text(config, "gateway", "key"), &gateway->tls,
                          error)
            : wp_tls_own(gateway->settings->data, gateway->settings->host, &gateway->tls, error);
    if (!status && gateway->tls.own)
        status = wp_tls_pin(gateway->tls.certificate, wp_site.pin, error);
    return status;
}

static unsigned compute_threads(const struct gateway *gateway)
{
    int64_t set = wp_config_int(gateway->settings->config, "gateway", "compute");
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    if (set > 0)
        return (unsigned)set;
    return cores > 64 ? 64 : cores > 1 ? (unsigned)cores : 1;
}

static enum wp_status start_lanes(struct gateway *gateway, struct wp_error *error)
{
    gateway->compute =
        wp_lane_new(&gateway->loop, "compute", compute_threads(gateway), COMPUTE_JOBS);
    gateway->passwords = wp_lane_new(&gateway->loop, "passwords", 1, PASSWORD_JOBS);
    gateway->exports = wp_lane_new(&gateway->loop, "exports", EXPORT_THREADS, EXPORT_JOBS);
    if (!gateway->compute || !gateway->passwords || !gateway->exports)
        return wp_fail(error, WP_NO_MEMORY, "The threads could not be started.");
    return WP_OK;
}

static enum wp_status start_database(struct gateway *gateway, struct wp_error *error)
{
    enum wp_status status = wp_db_start(gateway->db, &gateway->loop);
    return status ? wp_fail(error, status, "The database's threads could not be started.") : WP_OK;
}

static void make_url(const struct gateway *gateway, const char *host, char url[256])
{
    snprintf(url, 256, strchr(host, ':') ? "%s://[%.180s]:%u" : "%s://%.180s:%u",
             gateway->settings->plain ? "http" : "https", host, wp_web_port(gateway->web));
}

/* As agents and browsers reach us: what is set, else what we listen on; a wildcard address becomes
 * the machine's name. */
static void name_site(struct gateway *gateway)
{
    const char *set = wp_config_text(gateway->settings->config, "gateway", "public_url");
    const char *host = gateway->settings->host;
    char machine[128] = "localhost";
    bool anywhere = !strcmp(host, "0.0.0.0") || !strcmp(host, "::");
    if (anywhere)
        (void)gethostname(machine, sizeof machine - 1);
    if (set[0])
        snprintf(wp_site.public_url, sizeof wp_site.public_url, "%s", set);
    else
        make_url(gateway, anywhere ? machine : host, wp_site.public_url);
    wp_site.store = gateway->store;
}

static enum wp_status start_web(struct gateway *gateway, struct wp_error *error)
{
    const struct wp_settings *settings = gateway->settings;
    struct wp_web_options options = {
        .loop = &gateway->loop,
        .db = gateway->db,
        .compute = gateway->compute,
        .passwords = gateway->passwords,
        .exports = gateway->exports,
        .fonts = gateway->fonts,
        .folder = settings->data,
        .host = settings->host,
        .port = settings->port,
        .tls = settings->plain ? NULL : &gateway->tls,
        .public_url = wp_config_text(settings->config, "gateway", "public_url"),
        .behind_proxy = wp_config_bool(settings->config, "gateway", "behind_proxy"),
        .connections_most = (unsigned)wp_config_int(settings->config, "limits", "connections"),
        .memory_most = (size_t)wp_config_int(settings->config, "limits", "body_memory"),
        .capture_most = (uint64_t)wp_config_int(settings->config, "limits", "capture")};
    enum wp_status status = wp_web_start(&options, &gateway->web, error);
    if (!status)
        name_site(gateway);
    return status;
}

static void on_signal(uv_signal_t *handle, int number)
{
    wp_log(WP_LOG_INFO, "gateway", "stopping on signal %d", number);
    uv_stop(handle->loop);
}

static enum wp_status watch_signals(struct gateway *gateway, struct wp_error *error)
{
    static const int numbers[] = {SIGTERM, SIGINT};
    for (int i = 0; i < 2; i++) {
        if (uv_signal_init(&gateway->loop, &gateway->signals[i]) != 0)
            return wp_fail(error, WP_IO, "Signals cannot be watched.");
        gateway->signal_count++;
        uv_signal_start(&gateway->signals[i], on_signal, numbers[i]);
    }
    return WP_OK;
}

/* ---- start, run, stop ---- */

static enum wp_status (*const parts[])(struct gateway *, struct wp_error *) = {
    prepare_process, make_folder,    open_database, open_store,   load_certificate,
    start_lanes,     start_database, start_web,     watch_signals};

static void close_left(uv_handle_t *handle, void *arg)
{
    (void)arg;
    if (!uv_is_closing(handle))
        uv_close(handle, NULL);
}

/* Each part's stop is harmless if it never started. */
static void stop(struct gateway *gateway)
{
    for (int i = 0; i < gateway->signal_count; i++)
        uv_close((uv_handle_t *)&gateway->signals[i], NULL);
    wp_web_stop(gateway->web);
    gateway->web = NULL;
    wp_lane_free(gateway->exports);
    wp_lane_free(gateway->compute);
    wp_lane_free(gateway->passwords);
    wp_db_close(gateway->db);
    if (gateway->store)
        gateway->store->ops->free(gateway->store);
    wp_tls_release(&gateway->tls);
    if (!gateway->has_loop)
        return;
    uv_run(&gateway->loop, UV_RUN_DEFAULT);
    uv_walk(&gateway->loop, close_left, NULL);
    uv_run(&gateway->loop, UV_RUN_DEFAULT);
    uv_loop_close(&gateway->loop);
}

static void announce(const struct gateway *gateway)
{
    char url[256];
    make_url(gateway, gateway->settings->host, url);
    printf("listening on %s\n", url);
    fflush(stdout);
    wp_log(WP_LOG_INFO, "gateway", "listening on %s", url);
}

enum wp_status wp_gateway_run(const struct wp_settings *settings, struct wp_error *error)
{
    struct gateway gateway = {.settings = settings};
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < sizeof parts / sizeof parts[0] && !status; i++)
        status = parts[i](&gateway, error);
    if (!status) {
        announce(&gateway);
        uv_run(&gateway.loop, UV_RUN_DEFAULT);
    }
    stop(&gateway);
    if (gateway.broken)
        status = wp_fail(error, WP_BROKEN, "The storage failed; see the log.");
    return status;
}
