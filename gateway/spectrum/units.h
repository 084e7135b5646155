/* units.h - the words in which files name quantities and units.
 *
 * Private to the spectrum room. Pure; any thread.
 */
#ifndef SPECTRUM_UNITS_H
#define SPECTRUM_UNITS_H

#include "spectrum/spectrum.h"

/* How far a text names a unit: as the standard writes it, in other words, or not at all. */
enum wp_unit_words { WP_WORDS_NONE, WP_WORDS_OTHER, WP_WORDS_STANDARD };

/* The unit that `text` names, WP_X_OTHER / WP_Y_OTHER if none; WP_WORDS_STANDARD with OTHER for a
 * quantity that is well known and none of ours ("KUBELKA-MUNK", "Intensity", "SECONDS"). Blanks,
 * case and brackets do not matter: "1/CM", "cm^-1", "Wavenumber (cm-1)", "%T", "Percent
 * transmittance", "Abs". */
enum wp_unit_words wp_x_unit_read(const char *text, enum wp_x_unit *unit);
enum wp_unit_words wp_y_unit_read(const char *text, enum wp_y_unit *unit);

/* From DATA TYPE or a free text: "INFRARED SPECTRUM", "Raman", "UV/VIS". */
enum wp_technique wp_technique_read(const char *text);

/* Ordinates called transmittance that are percent: more than 2 in 100 exceed 1.5, which a ratio to
 * the empty beam does only by noise. */
bool wp_looks_percent(const double *y, size_t count);

#endif
