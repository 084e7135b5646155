/* layout.h - where the parts of a page stand. */
#ifndef SHEET_LAYOUT_H
#define SHEET_LAYOUT_H

#include "plan.h"

/* Fills the plan's sizes, style and boxes from its input's options. */
void sheet_layout(struct sheet_plan *plan);

#endif
