/* marks.h - what of the examination the sheet shows. */
#ifndef SHEET_MARKS_H
#define SHEET_MARKS_H

#include "plan.h"

/* Fills the plan's table, its labels (not yet placed) and its cut-off; the axes are chosen. */
void sheet_marks_take(struct sheet_plan *plan);

#endif
