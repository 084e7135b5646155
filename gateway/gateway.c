#include "gateway.h"

#include <errno.h>
#include <limits.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "acts/bench_acts.h"
#include "acts/removal_acts.h"
#include "acts/setup_acts.h"
#include "acts/site.h"
#include "archive/mover.h"
#include "base/lane.h"
#include "base/log.h"
#include "base/secret.h"
#include "db/db.h"
#include "deliveries.h"
#include "dispatch/dispatch.h"
#include "link_mail.h"
#include "openid/openid.h"
#include "staff_mail.h"
#include "store/store.h"
#include "web/web.h"

#define COMPUTE_JOBS 512
#define PASSWORD_JOBS 64
#define EXPORT_THREADS 2
#define EXPORT_JOBS 32
#define SWEEP_MS 5000
#define SCRUB_AGAIN WP_MINUTE

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
    struct wp_mover *mover;
    struct wp_web *web;
    struct wp_link_mail *mail;
    struct wp_staff_mail *staff_mail;
    struct wp_openid *openid;
    struct wp_deliveries deliveries;
    struct wp_dispatch *dispatch;
    bool named, tried_naming;
    uv_timer_t sweep;
    bool has_sweep, sweeping;
    bool looking, scrub_due; /* whether something deleted is to be wiped now */
    int64_t scrubbed_us;
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
    signal(SIGXFSZ, SIG_IGN); /* a limit on the size of files is a failed write, not the end */
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
    if (gateway->mover)
        wp_mover_kick(gateway->mover);
    wp_dispatch_kick(gateway->dispatch);
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

/* What acts must know of the site, and what must be in the database before anybody asks. */
static enum wp_status start_site(struct gateway *gateway, struct wp_error *error)
{
    const struct wp_config *config = gateway->settings->config;
    wp_site.store = gateway->store;
    wp_site.change_us = wp_config_int(config, "bench", "change");
    wp_site.silence_us = wp_config_int(config, "bench", "silence");
    wp_site.open_us = wp_config_int(config, "bench", "open");
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s/bench.key", gateway->settings->data);
    enum wp_status status = wp_key_file(path, wp_site.bench_key, error);
    if (status)
        return status;
    status = wp_db_write_now(gateway->db, wp_act_start, NULL);
    return status ? wp_fail(error, status, "The site's settings could not be written.") : WP_OK;
}

/* A restored database knows nothing of what was removed since its backup. */
static enum wp_status repeat_removals(struct gateway *gateway, struct wp_error *error)
{
    return wp_removals_repeat(gateway->db, gateway->settings->data, error);
}

static enum wp_status load_fonts(struct gateway *gateway, struct wp_error *error)
{
    return wp_sheet_fonts_new(NULL, &gateway->fonts, error);
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

static enum wp_status start_mover(struct gateway *gateway, struct wp_error *error)
{
    return wp_mover_start(gateway->db, gateway->store, &gateway->mover, error);
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
}

static void send_link(void *arg, const struct wp_link_wanted *wanted)
{
    struct gateway *gateway = arg;
    if (gateway->mail)
        wp_link_mail_send(gateway->mail, wanted);
    else
        wp_log(WP_LOG_WARN, "mail", "a sign-in link was asked for, but mail is not set up");
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
        .send_link = send_link,
        .arg = gateway,
        .openid = &gateway->openid,
        .openid_button = wp_config_text(settings->config, "openid", "button"),
        .openid_by_email = !strcmp(wp_config_text(settings->config, "openid", "match"), "email"),
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

static void done_name(void *job, enum wp_status status)
{
    struct gateway *gateway = job;
    gateway->tried_naming = true;
    gateway->named = status == WP_OK;
}

/* The port is known: join strings made without us, and our own, carry the address. */
static enum wp_status record_name(struct gateway *gateway, struct wp_error *error)
{
    enum wp_status status = wp_db_write(gateway->db, wp_act_named, done_name, gateway);
    while (!status && !gateway->tried_naming)
        uv_run(&gateway->loop, UV_RUN_ONCE);
    return gateway->named ? WP_OK
                          : wp_fail(error, status ? status : WP_IO,
                                    "The gateway's address could not be recorded.");
}

static enum wp_status start_dispatch(struct gateway *gateway, struct wp_error *error)
{
    gateway->deliveries.db = gateway->db;
    gateway->deliveries.fonts = gateway->fonts;
    struct wp_dispatch_options options = {.render = wp_deliveries_render,
                                          .printer_state = wp_deliveries_printer,
                                          .arg = &gateway->deliveries,
                                          .post = wp_link_mail_options(gateway->mail),
                                          .mailbox = wp_link_mail_mailbox(gateway->mail)};
    wp_delivery_set_hook(wp_deliveries_tell);
    return wp_dispatch_start(gateway->db, &gateway->loop, &options, &gateway->dispatch, error);
}

static enum wp_status start_mail(struct gateway *gateway, struct wp_error *error)
{
    enum wp_status status = wp_link_mail_new(gateway->settings->config, wp_site.public_url,
                                             &gateway->loop, &gateway->mail, error);
    return status
               ? status
               : wp_staff_mail_new(gateway->db, &gateway->loop, wp_link_mail_options(gateway->mail),
                                   &gateway->staff_mail, error);
}

/* The first line of a file; `out` stays empty without a file. */
static enum wp_status read_secret(const char *path, char out[256], struct wp_error *error)
{
    if (!path[0])
        return WP_OK;
    FILE *file = fopen(path, "re");
    bool read = file && fgets(out, 256, file);
    if (file)
        (void)fclose(file);
    out[strcspn(out, "\r\n")] = '\0';
    return read
               ? WP_OK
               : wp_fail(error, WP_INVALID, "[openid] client_secret_file %s cannot be read.", path);
}

static enum wp_status start_openid(struct gateway *gateway, struct wp_error *error)
{
    const struct wp_config *config = gateway->settings->config;
    char secret[256] = "", back[300];
    (void)snprintf(back, sizeof back, "%s/sign-in/provider/back", wp_site.public_url);
    struct wp_openid_options options = {.issuer = wp_config_text(config, "openid", "issuer"),
                                        .client_id = wp_config_text(config, "openid", "client_id"),
                                        .client_secret = secret,
                                        .redirect_uri = back,
                                        .scope = wp_config_text(config, "openid", "scope"),
                                        .claim = wp_config_text(config, "openid", "claim"),
                                        .algorithm = wp_config_text(config, "openid", "algorithm"),
                                        .ca_file = wp_config_text(config, "openid", "ca_file")};
    if (!options.issuer[0])
        return WP_OK;
    enum wp_status status =
        read_secret(wp_config_text(config, "openid", "client_secret_file"), secret, error);
    return status ? status : wp_openid_new(&gateway->loop, &options, &gateway->openid, error);
}

static void done_sweep(void *job, enum wp_status status)
{
    struct gateway *gateway = job;
    gateway->sweeping = false;
    wp_staff_mail_kick(gateway->staff_mail);
    if (status)
        wp_log(WP_LOG_WARN, "gateway", "sweep: %s", wp_status_name(status));
}

static void done_look(void *job, enum wp_status status)
{
    struct gateway *gateway = (struct gateway *)((char *)job - offsetof(struct gateway, scrub_due));
    gateway->looking = false;
    if (status || !gateway->scrub_due)
        return;
    gateway->scrubbed_us = wp_clock_steady();
    wp_db_scrub(gateway->db);
}

/* What was deleted and is to leave the file as well; not twice within a minute. */
static void look_for_scrub(struct gateway *gateway)
{
    bool soon = gateway->scrubbed_us && wp_clock_steady() - gateway->scrubbed_us < SCRUB_AGAIN;
    if (!gateway->looking && !soon)
        gateway->looking =
            wp_db_read(gateway->db, wp_scrub_due, done_look, &gateway->scrub_due) == WP_OK;
}

static void on_sweep(uv_timer_t *timer)
{
    struct gateway *gateway = timer->data;
    look_for_scrub(gateway);
    if (!gateway->sweeping)
        gateway->sweeping = wp_db_write(gateway->db, wp_act_sweep, done_sweep, gateway) == WP_OK;
}

/* What is due by time alone: spectra nobody touched are kept. */
static enum wp_status start_sweep(struct gateway *gateway, struct wp_error *error)
{
    (void)error;
    uv_timer_init(&gateway->loop, &gateway->sweep);
    gateway->sweep.data = gateway;
    gateway->has_sweep = true;
    uv_timer_start(&gateway->sweep, on_sweep, SWEEP_MS, SWEEP_MS);
    return WP_OK;
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
    prepare_process, make_folder, open_database,   open_store,  load_certificate,
    load_fonts,      start_site,  repeat_removals, start_lanes, start_database,
    start_mover,     start_web,   record_name,     start_mail,  start_openid,
    start_dispatch,  start_sweep, watch_signals};

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
    if (gateway->has_sweep)
        uv_close((uv_handle_t *)&gateway->sweep, NULL);
    wp_openid_free(gateway->openid); /* its requests are answered before the server ends */
    gateway->openid = NULL;
    struct wp_web *web = gateway->web;
    gateway->web = NULL; /* commits are no news any more */
    wp_web_stop(web);
    wp_dispatch_stop(gateway->dispatch);
    gateway->dispatch = NULL;
    wp_staff_mail_stop(gateway->staff_mail);
    wp_link_mail_free(gateway->mail);
    wp_lane_free(gateway->exports);
    wp_lane_free(gateway->compute);
    wp_lane_free(gateway->passwords);
    wp_mover_stop(gateway->mover);
    gateway->mover = NULL;
    wp_db_close(gateway->db);
    wp_sheet_fonts_free(gateway->fonts);
    if (gateway->store)
        gateway->store->ops->free(gateway->store);
    wp_tls_release(&gateway->tls);
    if (!gateway->has_loop)
        return;
    uv_run(&gateway->loop, UV_RUN_DEFAULT);
    uv_walk(&gateway->loop, close_left, NULL);
    uv_run(&gateway->loop, UV_RUN_DEFAULT);
    wp_staff_mail_free(gateway->staff_mail);
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
