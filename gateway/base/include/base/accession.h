/* base/accession.h - the short number printed on every sheet.
 *
 * Decimal digits and one check character by ISO/IEC 7064, MOD 37,36 (hybrid system, alphabet 0-9
 * A-Z). Numbers whose check character would be I, L or O are never given out, so that what is
 * typed by hand cannot be misread. Typed case does not matter; blanks and hyphens are skipped.
 *
 * Thread: any.
 */
#ifndef BASE_ACCESSION_H
#define BASE_ACCESSION_H

#include <stdbool.h>
#include <stdint.h>

#define WP_ACCESSION_ROOM 24

/* The check character of `text`, letters (either case) and digits, by ISO/IEC 7064, MOD 37,36.
 * A zero byte if there is any other character in it. */
char wp_mod_37_36(const char *text);

/* The check character for `number`. */
char wp_accession_check(uint64_t number);

/* True if `number` may be given out. */
bool wp_accession_usable(uint64_t number);

/* "10042K". `number` must be usable. */
void wp_accession_format(uint64_t number, char text[WP_ACCESSION_ROOM]);

/* Reads what a person typed. False (`*number` untouched): not digits without leading zeros and one
 * character, the check fails, or the number is one that is never given out. */
bool wp_accession_parse(const char *text, uint64_t *number);

#endif
