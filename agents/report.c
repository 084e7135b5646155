#include "report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <uv.h>

#include "base/clock.h"

#define PATH_ROOM 4300
#define REPORT_MOST (256 * 1024)

static void add_folders(cJSON *root, const struct wp_report *report)
{
    cJSON *list = cJSON_AddArrayToObject(root, "folders");
    for (size_t i = 0; list && i < report->folder_count; i++) {
        cJSON *folder = cJSON_CreateObject();
        const struct wp_watch_state *state = &report->states[i];
        cJSON_AddStringToObject(folder, "path", report->folders[i].path);
        cJSON_AddBoolToObject(folder, "ok", state->ok);
        cJSON_AddStringToObject(folder, "text", report->folders[i].text);
        cJSON_AddBoolToObject(folder, "scan_only", state->scan_only);
        cJSON_AddNumberToObject(folder, "files", (double)state->files);
        cJSON_AddNumberToObject(folder, "settling", (double)state->settling);
        cJSON_AddNumberToObject(folder, "backfill_left", (double)state->backfill_left);
        cJSON_AddItemToArray(list, folder);
    }
}

static void add_events(cJSON *root, const struct wp_report *report)
{
    cJSON *list = cJSON_AddArrayToObject(root, "events");
    for (size_t i = 0; list && i < report->beat->recent_count; i++) {
        const struct wp_wire_event *event = &report->beat->recent[i];
        cJSON *item = cJSON_CreateObject();
        char at[WP_ISO_ROOM];
        wp_clock_iso(event->at_us, at);
        cJSON_AddStringToObject(item, "kind", wp_wire_event_name(event->kind));
        cJSON_AddStringToObject(item, "at", at);
        cJSON_AddStringToObject(item, "text", event->text);
        cJSON_AddItemToArray(list, item);
    }
}

static char *describe(const struct wp_report *report)
{
    cJSON *root = cJSON_CreateObject();
    const struct wp_beat_state *beat = report->beat;
    char at[WP_ISO_ROOM];
    cJSON_AddNumberToObject(root, "pid", (double)uv_os_getpid());
    wp_clock_iso(report->started_us, at);
    cJSON_AddStringToObject(root, "since", at);
    cJSON_AddBoolToObject(root, "reached", beat->reached && !report->push->text[0]);
    cJSON_AddStringToObject(root, "trouble", beat->reached ? report->push->text : beat->text);
    if (beat->reached_us) {
        wp_clock_iso(beat->reached_us, at);
        cJSON_AddStringToObject(root, "last_answer", at);
        cJSON_AddNumberToObject(root, "clock_ahead_s", (double)beat->clock_ahead_us / 1e6);
    }
    cJSON_AddBoolToObject(root, "token_refused", beat->unwanted || report->push->unwanted);
    cJSON_AddBoolToObject(root, "paused", beat->paused);
    cJSON_AddBoolToObject(root, "ledger_ok", beat->ledger_ok);
    add_folders(root, report);
    add_events(root, report);
    char *text = cJSON_Print(root);
    cJSON_Delete(root);
    return text;
}

bool wp_report_write(const char *state_folder, const struct wp_report *report)
{
    char path[PATH_ROOM];
    char fresh[PATH_ROOM];
    uv_fs_t request;
    char *text = describe(report);
    (void)snprintf(path, sizeof path, "%s/status.json", state_folder);
    (void)snprintf(fresh, sizeof fresh, "%s/status.new", state_folder);
    FILE *file = text ? fopen(fresh, "wb") : NULL;
    bool good = file && fputs(text, file) >= 0;
    good = file && fclose(file) == 0 && good;
    if (good)
        good = uv_fs_rename(NULL, &request, fresh, path, NULL) == 0;
    free(text);
    return good;
}

cJSON *wp_report_read(const char *state_folder)
{
    char path[PATH_ROOM];
    (void)snprintf(path, sizeof path, "%s/status.json", state_folder);
    FILE *file = fopen(path, "rb");
    char *text = file ? malloc(REPORT_MOST) : NULL;
    size_t size = text ? fread(text, 1, REPORT_MOST, file) : 0;
    cJSON *root = size ? cJSON_ParseWithLength(text, size) : NULL;
    free(text);
    if (file)
        (void)fclose(file);
    return root;
}
