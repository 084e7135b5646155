#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "archive/verify.h"
#include "base/sql.h"
#include "cli.h"
#include "store/store.h"

static void print_fault(void *arg, const char *line)
{
    (void)arg;
    puts(line);
}

static void print_progress(void *arg, int64_t done, int64_t total)
{
    (void)arg;
    if (isatty(STDERR_FILENO))
        fprintf(stderr, "\r%lld of %lld objects", (long long)done, (long long)total);
}

/* Only reads, so it may run beside the gateway. */
static int verify(const char *folder)
{
    char path[4096];
    struct wp_sql *sql = NULL;
    struct wp_store *store = NULL;
    struct wp_error error = {0};
    struct wp_verify_counts counts = {0};
    struct wp_verify_watch watch = {.fault = print_fault, .progress = print_progress};
    (void)snprintf(path, sizeof path, "%s/gateway.db", folder);
    if (access(path, F_OK) != 0)
        return wp_cli_fail("%s holds no gateway's data", folder);
    enum wp_status status = wp_sql_open(path, WP_SQL_READ, &sql, &error);
    if (!status)
        status = wp_store_look_at(folder, &store, &error);
    if (!status)
        status = wp_verify(sql, store, &watch, &counts, &error);
    if (store)
        store->ops->free(store);
    wp_sql_close(sql);
    if (isatty(STDERR_FILENO))
        fputc('\n', stderr);
    if (status)
        return wp_cli_fail("%s", error.text[0] ? error.text : wp_status_name(status));
    if (counts.removed)
        fprintf(stderr, "%lld objects were removed on purpose; their marks are sound\n",
                (long long)counts.removed);
    printf("%lld objects, %lld measurements, %lld faults\n", (long long)counts.objects,
           (long long)counts.measurements, (long long)counts.faults);
    return counts.faults ? WP_EXIT_FAILED : WP_EXIT_DONE;
}

int wp_cli_verify(int argc, char **argv)
{
    struct wp_option options[] = {{"data", false, NULL}, {0}};
    const char *folder = NULL;
    struct wp_words words = {.options = options, .words = &folder};
    if (!wp_words_parse(argc, argv, 2, &words, 1))
        return WP_EXIT_USAGE;
    const char *data = wp_words_value(&words, "data");
    if (data && words.count)
        return wp_cli_usage("the data folder stands there twice");
    if (!data)
        data = words.count ? folder : getenv("WAVEPOST_DATA");
    return data ? verify(data) : wp_cli_usage("the data folder is missing: --data DIR");
}
