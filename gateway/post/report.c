/* What a delivery status notification says: RFC 3464 sections 2.2 and 2.3, RFC 6522, RFC 6533. */
#include "post/report.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "enhanced.h"
#include "mime.h"

enum { READ_DEPTH = 5, PARTS_MOST = 64, GROUPS_MOST = 64, MARK_SIZE = 38 };

struct reading {
    struct wp_report *report;
    bool found;   /* a part with recipients was there */
    bool arrived; /* somebody got it */
    bool failed;
    bool delayed;
};

/* Collects everything that looks like a mark: "w", 16 digits, "-", 20 digits. */
static void collect_marks(struct wp_report *report, const char *text)
{
    static const char digits[] = "0123456789abcdefABCDEF";
    for (const char *at = text; *at != '\0' && report->mark_count < WP_REPORT_MARKS; at++) {
        if ((*at != 'w' && *at != 'W') || strspn(at + 1, digits) != 16 || at[17] != '-' ||
            strspn(at + 18, digits) != 20)
            continue;
        char *mark = report->marks[report->mark_count++];
        for (int i = 0; i < MARK_SIZE; i++)
            mark[i] = (char)tolower((unsigned char)at[i]);
        mark[MARK_SIZE] = '\0';
        at += MARK_SIZE - 1;
    }
}

/* True if the value's first word is this one. */
static bool says(const char *value, const char *word)
{
    size_t size = strlen(word);
    return strncasecmp(value, word, size) == 0 && !isalpha((unsigned char)value[size]);
}

struct group {
    char action[16];
    struct wp_enhanced status;
    struct wp_enhanced diagnostic;
    bool has_status, has_diagnostic;
};

/* The fields up to the next empty line. False at the end of the part. */
static bool read_group(struct wp_slice *text, struct group *group)
{
    struct wp_mime_field field;
    memset(group, 0, sizeof *group);
    if (text->at >= text->end)
        return false;
    while (wp_mime_next_field(text, &field)) {
        if (strcmp(field.name, "action") == 0)
            snprintf(group->action, sizeof group->action, "%.15s", field.value);
        else if (strcmp(field.name, "status") == 0)
            group->has_status = wp_enhanced_find(field.value, &group->status);
        else if (strcmp(field.name, "diagnostic-code") == 0)
            group->has_diagnostic = wp_enhanced_find(field.value, &group->diagnostic);
    }
    return true;
}

/* Status says x.0.0 where the reporting server knew no better (RFC 3463 section 3.1); what the
 * other server answered may. */
static void keep_code(struct wp_report *report, const struct group *group)
{
    bool vague = !group->has_status || (group->status.subject == 0 && group->status.detail == 0);
    bool better = group->has_diagnostic &&
                  (!group->has_status || group->diagnostic.class == group->status.class);
    const struct wp_enhanced *code = vague && better ? &group->diagnostic : &group->status;
    if (group->has_status || better)
        snprintf(report->code, sizeof report->code, "%d.%d.%d", code->class, code->subject,
                 code->detail);
}

static void take_group(struct reading *reading, const struct group *group)
{
    bool failed = says(group->action, "failed");
    bool delayed = says(group->action, "delayed");
    reading->found = reading->found || group->action[0] != '\0';
    if ((failed && !reading->failed) || (delayed && !reading->failed && !reading->delayed))
        keep_code(reading->report, group);
    reading->failed = reading->failed || failed;
    reading->delayed = reading->delayed || delayed;
    reading->arrived = reading->arrived || says(group->action, "delivered") ||
                       says(group->action, "relayed") || says(group->action, "expanded");
}

static void read_status_part(struct reading *reading, struct wp_slice text)
{
    struct group group;
    for (int i = 0; i < GROUPS_MOST && read_group(&text, &group); i++)
        take_group(reading, &group);
}

/* The header of the mail that came back, whole or alone. */
static void read_returned(struct reading *reading, struct wp_slice text)
{
    struct wp_mime_field field;
    while (wp_mime_next_field(&text, &field))
        if (strcmp(field.name, "message-id") == 0)
            collect_marks(reading->report, field.value);
}

static bool is_one_of(const char *type, const char *const *types)
{
    for (; *types != NULL; types++)
        if (strcmp(type, *types) == 0)
            return true;
    return false;
}

/* One part of a report; `*text` is after its header. */
static void read_report_part(struct reading *reading, const char *type, struct wp_slice text)
{
    static const char *const status[] = {"message/delivery-status",
                                         "message/global-delivery-status", NULL};
    static const char *const returned[] = {"message/rfc822", "text/rfc822-headers",
                                           "message/global", "message/global-headers", NULL};
    if (is_one_of(type, status))
        read_status_part(reading, text);
    else if (is_one_of(type, returned))
        read_returned(reading, text);
}

/* Whom the report was sent to: there the mark stands if the envelope's sender had it. */
static void take_address(struct reading *reading, const struct wp_mime_field *field)
{
    static const char *const names[] = {
        "to", "delivered-to", "envelope-to", "x-original-to", "original-recipient", NULL};
    if (is_one_of(field->name, names))
        collect_marks(reading->report, field->value);
}

static void read_header(struct reading *reading, struct wp_slice *text, int depth,
                        struct wp_mime_type *type)
{
    struct wp_mime_field field;
    wp_mime_type_read("text/plain", type);
    while (wp_mime_next_field(text, &field)) {
        if (strcmp(field.name, "content-type") == 0)
            wp_mime_type_read(field.value, type);
        else if (depth == 0)
            take_address(reading, &field);
    }
}

static bool is_multipart(const struct wp_mime_type *type)
{
    return strncmp(type->type, "multipart/", 10) == 0 && type->boundary[0] != '\0';
}

static bool is_report(const struct wp_mime_type *type)
{
    return strcmp(type->type, "multipart/report") == 0 &&
           strcmp(type->report_type, "delivery-status") == 0;
}

/* Goes down into parts of parts; READ_DEPTH bounds it. */
// NOLINTNEXTLINE(misc-no-recursion)
static void read_entity(struct reading *reading, struct wp_slice text, int depth, bool in_report)
{
    struct wp_mime_type type;
    struct wp_slice part;
    read_header(reading, &text, depth, &type);
    if (in_report)
        read_report_part(reading, type.type, text);
    if (!is_multipart(&type) || depth == READ_DEPTH)
        return;
    for (int i = 0; i < PARTS_MOST && wp_mime_next_part(&text, type.boundary, &part); i++)
        read_entity(reading, part, depth + 1, is_report(&type));
}

enum wp_status wp_report_read(const char *text, size_t size, struct wp_report *report)
{
    struct reading reading = {.report = report};
    memset(report, 0, sizeof *report);
    read_entity(&reading, (struct wp_slice){text, text + size}, 0, false);
    if (!reading.found)
        return WP_NOT_FOUND;
    if (reading.failed && !reading.arrived)
        report->action = WP_REPORT_FAILED;
    else if (reading.delayed && !reading.arrived)
        report->action = WP_REPORT_DELAYED;
    return WP_OK;
}

const char *wp_report_meaning(const struct wp_report *report)
{
    return wp_reply_meaning(report->action == WP_REPORT_FAILED ? 500 : 400, report->code);
}
