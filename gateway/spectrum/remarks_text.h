/* remarks_text.h - filling in the sentences of remarks_table.c. Private to this room. */
#ifndef SPECTRUM_REMARKS_TEXT_H
#define SPECTRUM_REMARKS_TEXT_H

#include "remarks_checks.h"

/* Fills in code, weight, position, text and advice of `remark`. */
void wp_remark_write(const struct wp_context *context, const struct wp_found *found,
                     struct wp_remark *remark);

#endif
