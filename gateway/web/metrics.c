/* Figures in Prometheus' text format, version 0.0.4: the fleet's from the database, our own. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>

#include "request.h"
#include "views/figures.h"

#define METRICS_MOST (1024 * 1024)

static void add(struct wp_bytes *text, const char *name, const char *kind, const char *help,
                uint64_t value)
{
    (void)wp_figure_add(text, name, kind, help, value);
}

static void add_answers(struct wp_bytes *text, const struct wp_web *web)
{
    static const char *const kinds[] = {"cut off", "1xx", "2xx", "3xx", "4xx", "5xx"};
    (void)wp_bytes_addf(text, "# HELP wavepost_http_answers_total Answers by class of status.\n"
                              "# TYPE wavepost_http_answers_total counter\n");
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        (void)wp_bytes_addf(text, "wavepost_http_answers_total{class=\"%s\"} %" PRIu64 "\n",
                            kinds[i], web->counts.answers[i]);
}

static void add_database(struct wp_bytes *text, const struct wp_web *web)
{
    struct wp_db_counts counts;
    wp_db_count(web->options.db, &counts);
    add(text, "wavepost_db_jobs_total", "counter", "Write jobs done.", counts.jobs);
    add(text, "wavepost_db_commits_total", "counter", "Group commits.", counts.commits);
    add(text, "wavepost_db_waiting", "gauge", "Write jobs queued.", counts.waiting);
    add(text, "wavepost_db_wal_bytes", "gauge", "Size of the write-ahead log.",
        counts.wal_bytes > 0 ? (uint64_t)counts.wal_bytes : 0);
}

static void add_lanes(struct wp_bytes *text, const struct wp_web *web)
{
    add(text, "wavepost_lane_compute", "gauge", "Jobs in the compute lane.",
        wp_lane_load(web->options.compute));
    add(text, "wavepost_lane_passwords", "gauge", "Jobs in the passwords lane.",
        wp_lane_load(web->options.passwords));
    add(text, "wavepost_lane_exports", "gauge", "Jobs in the exports lane.",
        wp_lane_load(web->options.exports));
}

/* Database and objects lie on the same file system unless somebody has moved one of them. */
static void add_disk(struct wp_bytes *text, const struct wp_web *web)
{
    struct statvfs disk;
    char objects[512];
    snprintf(objects, sizeof objects, "%.480s/objects", web->options.folder);
    if (statvfs(web->options.folder, &disk) == 0)
        add(text, "wavepost_data_free_bytes", "gauge", "Free space for the database.",
            (uint64_t)disk.f_bavail * disk.f_frsize);
    if (statvfs(objects, &disk) == 0)
        add(text, "wavepost_store_free_bytes", "gauge", "Free space for objects.",
            (uint64_t)disk.f_bavail * disk.f_frsize);
}

static void free_text(void *state)
{
    wp_bytes_release(state);
    free(state);
}

enum wp_status wp_load_metrics(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    struct wp_bytes *text = calloc(1, sizeof *text);
    if (text == NULL)
        return WP_NO_MEMORY;
    wp_bytes_init(text, METRICS_MOST);
    request->state = text;
    request->state_free = free_text;
    return wp_view_figures(sql, now, text);
}

void wp_serve_metrics(struct wp_request *request)
{
    const struct wp_web *web = request->web;
    struct wp_bytes *figures = request->state;
    struct wp_bytes text = *figures;
    wp_bytes_init(figures, METRICS_MOST);
    add_answers(&text, web);
    add(&text, "wavepost_http_body_bytes_total", "counter", "Bytes of bodies received.",
        web->counts.body_bytes);
    add(&text, "wavepost_http_connections", "gauge", "Open connections.", web->peer_count);
    add(&text, "wavepost_http_memory_bytes", "gauge", "Memory reserved for bodies.",
        web->memory_used);
    add(&text, "wavepost_http_parked_total", "counter", "Times a request waited for room.",
        web->counts.parked);
    add(&text, "wavepost_http_slow_total", "counter", "Connections cut off for slowness.",
        web->counts.cut);
    add(&text, "wavepost_http_shed_total", "counter",
        "Connections that had proved nothing and were closed to make room.", web->counts.shed);
    add(&text, "wavepost_http_strangers", "gauge", "Open connections that have proved nothing yet.",
        web->door.strangers);
    add_database(&text, web);
    add_lanes(&text, web);
    add_disk(&text, web);
    size_t size = 0;
    char *taken = wp_bytes_take(&text, &size);
    wp_reply_text(request, MHD_HTTP_OK, "text/plain; version=0.0.4; charset=utf-8", taken, size);
}

/* Answers once a reader has answered, so that a stuck database shows. */
enum wp_status wp_load_health(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    (void)now;
    (void)request;
    int64_t one = 0;
    return wp_sql_int(sql, &one, "SELECT 1", "");
}

void wp_serve_health(struct wp_request *request)
{
    wp_reply_text(request, MHD_HTTP_OK, NULL, strdup("{\"status\":\"ok\"}"), 15);
}
