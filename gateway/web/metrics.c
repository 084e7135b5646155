/* The gateway's own figures in Prometheus' text format, version 0.0.4. */
#include <inttypes.h>
#include <string.h>

#include "request.h"

#define METRICS_MOST (64 * 1024)

static void add(struct wp_bytes *text, const char *name, const char *kind, const char *help,
                uint64_t value)
{
    (void)wp_bytes_addf(text, "# HELP %s %s\n# TYPE %s %s\n%s %" PRIu64 "\n", name, help, name,
                        kind, name, value);
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

void wp_serve_metrics(struct wp_request *request)
{
    const struct wp_web *web = request->web;
    struct wp_bytes text;
    wp_bytes_init(&text, METRICS_MOST);
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
    add(&text, "wavepost_lane_compute", "gauge", "Jobs in the compute lane.",
        wp_lane_load(web->options.compute));
    add(&text, "wavepost_lane_exports", "gauge", "Jobs in the exports lane.",
        wp_lane_load(web->options.exports));
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
