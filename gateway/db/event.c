#include "db/event.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>

/* Trimming looks at the table once in so many events. */
#define TRIM_EVERY 500

static enum wp_status trim(struct wp_txn *txn, int64_t number)
{
    if (number % TRIM_EVERY)
        return WP_OK;
    return wp_sql_run(txn->sql, "DELETE FROM event WHERE number <= ?", "i",
                      number - WP_EVENTS_KEPT);
}

enum wp_status wp_event_add(struct wp_txn *txn, const char *kind, int64_t id, const char *body)
{
    char topic[64];
    (void)(id ? snprintf(topic, sizeof topic, "%s:%" PRId64, kind, id)
              : snprintf(topic, sizeof topic, "%s", kind));
    int64_t number = 0;
    enum wp_status status =
        wp_sql_int(txn->sql, &number, "SELECT coalesce(max(number), 0) + 1 FROM event", "");
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO event (number, at_us, topic, body) VALUES (?, ?, ?, ?)",
                            "iitt", number, txn->now, topic, body);
    return status ? status : trim(txn, number);
}

enum wp_status wp_event_addf(struct wp_txn *txn, const char *kind, int64_t id, const char *format,
                             ...)
{
    char body[512];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(body, sizeof body, format, arguments);
    va_end(arguments);
    if (length < 0 || (size_t)length >= sizeof body)
        return WP_INVALID;
    return wp_event_add(txn, kind, id, body);
}
