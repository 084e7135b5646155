/* report.h - what a running agent writes down for `status`: DIR/status.json, replaced as a whole.
 *
 * Not synced: it describes the process, not what must last. Thread: the loop's.
 */
#ifndef AGENT_REPORT_H
#define AGENT_REPORT_H

#include <cjson/cJSON.h>

#include "base/status.h"
#include "beat.h"
#include "push.h"
#include "watch.h"

struct wp_report {
    int64_t started_us;
    const struct wp_beat_state *beat;
    const struct wp_push_state *push;
    size_t folder_count;
    const struct wp_wire_folder *folders;
    const struct wp_watch_state *states; /* one a folder */
};

/* False if it could not be written. */
bool wp_report_write(const char *state_folder, const struct wp_report *report);

/* What a running agent wrote last; NULL if there is nothing readable. The caller deletes it. */
cJSON *wp_report_read(const char *state_folder);

#endif
