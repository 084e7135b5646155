/* dates.h - the date styles that files carry.
 *
 * Private to the spectrum room. Pure; any thread.
 */
#ifndef SPECTRUM_DATES_H
#define SPECTRUM_DATES_H

#include "spectrum/spectrum.h"

enum wp_date_style {
    WP_DATE_NONE,     /* no date could be read */
    WP_DATE_STANDARD, /* YY/MM/DD or YYYY/MM/DD */
    WP_DATE_OTHER,    /* another order, and only one is possible */
    WP_DATE_AMBIGUOUS /* day and month could be the other way round; day first was taken */
};

/* Reads a date, with or without a time and a zone after it, into `*time` (present = true).
 * Two-digit years: 69-99 are 1969-1999, 00-68 are 2000-2068, as POSIX strptime does. */
enum wp_date_style wp_date_read(const char *text, struct wp_file_time *time);

/* Adds "HH:MM[:SS[.frac]] [AM|PM] [zone]" to a date read before; false if it is no time. */
bool wp_time_read(const char *text, struct wp_file_time *time);

#endif
