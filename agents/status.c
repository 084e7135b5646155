#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "platform.h"
#include "report.h"
#include "setup.h"
#include "tell.h"

#define REFUSED_SHOWN 10

static void print_time(const char *label, int64_t us)
{
    char text[WP_ISO_ROOM];
    wp_clock_local(us, text);
    printf("%s%s\n", label, text);
}

static bool truth(const cJSON *report, const char *name)
{
    return cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(report, name));
}

static const char *words(const cJSON *report, const char *name)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(report, name));
    return text ? text : "";
}

static double amount(const cJSON *report, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(report, name);
    return cJSON_IsNumber(item) ? item->valuedouble : 0;
}

static bool print_running(const cJSON *report)
{
    const cJSON *item;
    bool well =
        truth(report, "reached") && truth(report, "ledger_ok") && !truth(report, "token_refused");
    printf("Running since %s (process %.0f)\n", words(report, "since"), amount(report, "pid"));
    printf("Gateway: %s%s%s\n", truth(report, "reached") ? "reached" : "NOT REACHED",
           *words(report, "trouble") ? ": " : "", words(report, "trouble"));
    if (truth(report, "token_refused"))
        puts("The gateway refuses this agent: join again with a new join string.");
    if (!truth(report, "ledger_ok"))
        puts("WARNING: the gateway's ledger lacks an entry this agent saw: it was cut off or "
             "restored from an older copy.");
    if (truth(report, "paused"))
        puts("Paused by the gateway: new files are not taken.");
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(report, "folders"))
    {
        well = well && truth(item, "ok");
        printf("Folder %s: %s%s%s, %.0f files%s", words(item, "path"),
               truth(item, "ok") ? "watched" : "NOT READABLE", *words(item, "text") ? ": " : "",
               words(item, "text"), amount(item, "files"),
               truth(item, "scan_only") ? ", by walking only (no events)" : "");
        if (amount(item, "backfill_left") > 0)
            printf(", %.0f old files still to be sent", amount(item, "backfill_left"));
        puts("");
    }
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(report, "events"))
        printf("Event %s %s: %s\n", words(item, "at"), words(item, "kind"), words(item, "text"));
    return well;
}

static void print_refused(struct wp_spool *spool)
{
    char reason[WP_WIRE_TEXT];
    char path[WP_WIRE_TEXT];
    struct wp_spool_capture *capture = calloc(1, sizeof *capture);
    for (int i = 0; capture && i < REFUSED_SHOWN &&
                    wp_spool_next_refused(spool, capture, reason, sizeof reason);
         i++) {
        wp_text_clean(capture->path, strlen(capture->path), path, sizeof path);
        printf("Refused %" PRId64 " %s: %s\n", capture->number, path, reason);
    }
    free(capture);
}

static void print_spool(struct wp_spool *spool, const struct wp_spool_load *load)
{
    printf("Waiting to be sent: %" PRId64 " (%.1f MiB of %.0f)\n", load->waiting,
           (double)load->waiting_bytes / 1048576.0, (double)load->limit / 1048576.0);
    if (load->waiting)
        print_time("Oldest since ", load->oldest_us);
    printf("Captured so far: %" PRId64 "\n", load->last_number);
    if (load->last_number)
        print_time("Last capture ", load->last_us);
    if (load->refused)
        printf("Refused by the gateway and kept: %" PRId64 "\n", load->refused);
    print_refused(spool);
}

static void print_json(const struct wp_setup *setup, const struct wp_spool_load *load,
                       cJSON *report, bool running)
{
    cJSON *root = cJSON_CreateObject();
    cJSON_AddStringToObject(root, "gateway", setup->base);
    cJSON_AddStringToObject(root, "instrument", setup->instrument);
    cJSON_AddStringToObject(root, "place", setup->place);
    cJSON_AddBoolToObject(root, "running", running);
    cJSON_AddNumberToObject(root, "captured", (double)load->last_number);
    cJSON_AddNumberToObject(root, "waiting", (double)load->waiting);
    cJSON_AddNumberToObject(root, "waiting_bytes", (double)load->waiting_bytes);
    cJSON_AddNumberToObject(root, "spool_limit", (double)load->limit);
    cJSON_AddNumberToObject(root, "oldest_us", (double)load->oldest_us);
    cJSON_AddNumberToObject(root, "refused", (double)load->refused);
    if (report && running)
        cJSON_AddItemReferenceToObject(root, "agent", report);
    char *text = cJSON_Print(root);
    puts(text ? text : "{}");
    free(text);
    cJSON_Delete(root);
}

static int tell(const struct wp_agent_options *options, struct wp_spool *spool,
                const struct wp_setup *setup)
{
    struct wp_spool_load load;
    bool running = wp_platform_locked(options->state);
    cJSON *report = wp_report_read(options->state);
    wp_spool_load(spool, &load);
    bool well = running && load.refused == 0;
    if (options->json) {
        print_json(setup, &load, report, running);
        well = well && truth(report, "reached");
    } else {
        printf("%s, %s, sending to %s\n", setup->instrument, setup->place, setup->base);
        if (!running)
            puts("NOT RUNNING");
        else if (report)
            well = print_running(report) && well;
        print_spool(spool, &load);
    }
    cJSON_Delete(report);
    return well ? 0 : 1;
}

int wp_agent_status(const struct wp_agent_options *options)
{
    struct wp_error error;
    struct wp_spool *spool = NULL;
    struct wp_setup *setup = calloc(1, sizeof *setup);
    if (!setup)
        return 2;
    enum wp_status status = wp_spool_open_to_read(options->state, &spool, &error);
    if (!status)
        status = wp_setup_read(spool, setup, &error);
    if (status)
        (void)fprintf(stderr, "wavepost-agent: %s\n", error.text);
    int code = status ? 2 : tell(options, spool, setup);
    wp_spool_close(spool);
    free(setup);
    return code;
}
