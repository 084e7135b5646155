/* spectrum/number_text.h - numbers as text that reads back as the same number.
 *
 * Pure; any thread.
 */
#ifndef SPECTRUM_NUMBER_TEXT_H
#define SPECTRUM_NUMBER_TEXT_H

#include <stddef.h>

#define WP_NUMBER_TEXT 32 /* with the zero byte */

/* Writes the shortest of 15, 16 or 17 significant digits that read back as `value`, which is
 * finite, with a point whatever the locale, and the exponent, where there is one, as "E-07": good
 * for AFFN, CSV and JSON. Returns the length. A value that has no more than 15 digits, as nearly
 * every ordinate of a file, takes some 20 ns, others half a microsecond. */
size_t wp_number_text(double value, char text[WP_NUMBER_TEXT]);

#endif
