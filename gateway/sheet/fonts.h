/* fonts.h - type-setting state: one painter a drawing call, kept for the next one. */
#ifndef SHEET_FONTS_H
#define SHEET_FONTS_H

#include <pango/pangocairo.h>

#include "sheet/sheet.h"

/* One thread's fonts and a layout to set lines with. */
struct sheet_painter {
    PangoFontMap *map;
    PangoContext *context;
    PangoLayout *layout;
    PangoAttrList
        *no_ligatures; /* for Latin: a joined "fi" would need a second subset of the font */
};

/* Takes an idle painter or makes one; NULL if memory is short. */
struct sheet_painter *sheet_painter_borrow(struct wp_sheet_fonts *fonts);
void sheet_painter_return(struct wp_sheet_fonts *fonts, struct sheet_painter *painter);

#endif
