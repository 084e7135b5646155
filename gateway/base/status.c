#include "base/status.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"

static void fill(struct wp_error *error, enum wp_status status, long line, long column,
                 const char *format, va_list arguments)
{
    char text[WP_ERROR_TEXT * 2];
    int length = vsnprintf(text, sizeof text, format, arguments);
    error->status = status;
    error->line = line;
    error->column = column;
    wp_text_clean(text, length < 0 ? 0 : strlen(text), error->text, sizeof error->text);
}

enum wp_status wp_fail(struct wp_error *error, enum wp_status status, const char *format, ...)
{
    if (error) {
        va_list arguments;
        va_start(arguments, format);
        fill(error, status, 0, 0, format, arguments);
        va_end(arguments);
    }
    return status;
}

enum wp_status wp_fail_at(struct wp_error *error, enum wp_status status, long line, long column,
                          const char *format, ...)
{
    if (error) {
        va_list arguments;
        va_start(arguments, format);
        fill(error, status, line, column, format, arguments);
        va_end(arguments);
    }
    return status;
}

const char *wp_status_name(enum wp_status status)
{
    static const char *const names[] = {
        "ok",      "retry",  "constraint", "full",      "broken", "not found",
        "invalid", "denied", "too large",  "no memory", "io",     "conflict",
    };
    size_t index = (size_t)status;
    return index < sizeof names / sizeof names[0] ? names[index] : "unknown";
}
