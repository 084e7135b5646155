/* base/clock.h - times. Instants are UTC microseconds since 1970-01-01 in int64_t, nothing else.
 *
 * Thread: any. Local times use the process's TZ, which main() sets from the configuration once.
 */
#ifndef BASE_CLOCK_H
#define BASE_CLOCK_H

#include <stdbool.h>
#include <stdint.h>

#define WP_SECOND INT64_C(1000000)
#define WP_MINUTE (60 * WP_SECOND)
#define WP_HOUR (60 * WP_MINUTE)
#define WP_DAY (24 * WP_HOUR)

#define WP_ISO_ROOM 32

/* Wall clock (UTC) and a clock that never jumps (only differences mean anything). */
int64_t wp_clock_utc(void);
int64_t wp_clock_steady(void);

/* RFC 3339 in UTC with microseconds: "2026-03-02T14:05:09.123456Z". */
void wp_clock_iso(int64_t utc_us, char text[WP_ISO_ROOM]);

/* Reads RFC 3339 ("T" or blank, fraction optional, "Z" or an offset; a date alone is 00:00 UTC).
 * False if it is not one. */
bool wp_clock_parse(const char *text, int64_t *utc_us);

/* Local date and time for people: "2026-03-02 15:05". */
void wp_clock_local(int64_t utc_us, char text[WP_ISO_ROOM]);

/* Local calendar day of an instant: 20260302; and the instant at which a local day and minute of
 * the day begin (summer-time changes by the rules of TZ). */
int wp_clock_local_day(int64_t utc_us);
int64_t wp_clock_from_local(int year, int month, int day, int minute_of_day);

/* A text that stays the same until the machine restarts (its boot id), at most 40 bytes. */
void wp_clock_boot_id(char text[48]);

#endif
