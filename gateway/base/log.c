#include "base/log.h"

#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/bytes.h"
#include "base/clock.h"

#define LINE_ROOM 1024
#define HEAD_ROOM 96

static atomic_int most = WP_LOG_INFO;

void wp_log_set_level(enum wp_log_level level)
{
    atomic_store(&most, (int)level);
}

void wp_log(enum wp_log_level level, const char *part, const char *format, ...)
{
    static const char *const names[] = {"error", "warn", "info", "debug"};
    if ((int)level > atomic_load(&most) || (size_t)level >= sizeof names / sizeof names[0])
        return;
    char text[LINE_ROOM];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    char iso[WP_ISO_ROOM];
    wp_clock_iso(wp_clock_utc(), iso);
    char line[HEAD_ROOM + LINE_ROOM + 1];
    int head = snprintf(line, HEAD_ROOM, "%.23sZ %s %.32s: ", iso, names[level], part);
    if (length < 0 || head < 0)
        return;
    wp_text_clean(text, strlen(text), line + head, LINE_ROOM);
    size_t size = strlen(line);
    line[size++] = '\n';
    /* Nobody can be told when standard error itself is gone. */
    ssize_t written = write(STDERR_FILENO, line, size);
    (void)written;
}
