/* key.h - the lines of words above the plot: which curve of an overlay is which, and what the
 * hatching means. */
#ifndef SHEET_KEY_H
#define SHEET_KEY_H

#include "plan.h"

/* Chooses the key's words and places and, where it takes two lines, lowers the top of the frame.
 * In this order, the first that fits: one line, two lines, two lines without dates; and when not
 * even these, the longest names end in an ellipsis. Call it before the axes are chosen. */
void sheet_key_place(struct sheet_plan *plan, struct sheet_painter *painter);

/* Size of its type, in points. */
double sheet_key_size(const struct sheet_plan *plan);

/* How long the piece of a curve beside its name is, and how far the name stands from its start. */
#define SHEET_KEY_PIECE 24.0
#define SHEET_KEY_INDENT 28.0
#define SHEET_KEY_LINE 1.35 /* from one line to the next, of the type's size */

/* "hatched: the plates absorb below 650 cm-1", also above the frame, right. */
#define SHEET_HATCH_ROOM 80
void sheet_hatch_words(double cut_off, char words[SHEET_HATCH_ROOM]);

#endif
