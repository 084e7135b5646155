/* base/log.h - one line on standard error for each thing an administrator may need to know.
 *
 * Lines look like `2026-03-02T14:05:09.123Z warn agent: text`. They carry ids and places, never
 * names of persons, secrets or spectra. Line breaks in the text are replaced.
 *
 * Thread: any; a line is written with one write(2).
 */
#ifndef BASE_LOG_H
#define BASE_LOG_H

enum wp_log_level { WP_LOG_ERROR, WP_LOG_WARN, WP_LOG_INFO, WP_LOG_DEBUG };

/* Lines above this level are dropped. Default WP_LOG_INFO. Set before threads start. */
void wp_log_set_level(enum wp_log_level level);

/* `part` is a short word for the component: "web", "db", "printer". */
void wp_log(enum wp_log_level level, const char *part, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
