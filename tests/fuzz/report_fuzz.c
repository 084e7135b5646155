/* Mail that comes back: whatever a mailbox holds is read within bounds, and what is found is what
 * the header promises. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "post/report.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check(int holds)
{
    if (!holds)
        abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    /* A copy of its own size, so that reading past the end is seen. */
    char *text = malloc(size ? size : 1);
    struct wp_report report;
    if (!text)
        return 0;
    if (size)
        memcpy(text, data, size);
    if (wp_report_read(text, size, &report) == WP_OK) {
        check(report.mark_count <= WP_REPORT_MARKS);
        for (size_t i = 0; i < report.mark_count; i++)
            check(strlen(report.marks[i]) == 38);
        check(strlen(report.code) < sizeof report.code);
        check(wp_report_meaning(&report)[0] != '\0');
        (void)wp_reply_is_final(report.code);
    }
    free(text);
    return 0;
}
