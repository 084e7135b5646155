/* sheet/cards.h - bench cards to print and to show on a phone: a name and a QR code, nothing else.
 *
 * The cards have the size of a bank card (ISO/IEC 7810 ID-1), with thin lines to cut along: ten on
 * a page of A4, eight on one of letter paper. Same input, same bytes.
 *
 * Thread: as sheet/sheet.h.
 */
#ifndef SHEET_CARDS_H
#define SHEET_CARDS_H

#include "sheet/sheet.h"

#define WP_CARDS_MOST 1000

struct wp_card_face {
    const char *name;   /* short, any script */
    const char *digits; /* what the code says */
};

/* Appends a PDF of 1 to WP_CARDS_MOST cards; `title` names the document. WP_INVALID: another
 * count, or a text that fits no code; WP_NO_MEMORY; WP_IO. */
enum wp_status wp_cards_pdf(struct wp_sheet_fonts *fonts, const struct wp_card_face *faces,
                            size_t count, enum wp_sheet_paper paper, const char *title,
                            struct wp_bytes *out, struct wp_error *error);

/* Appends a PNG of one card for a phone's screen, held upright. Errors as above. */
enum wp_status wp_cards_png(struct wp_sheet_fonts *fonts, const struct wp_card_face *face,
                            struct wp_bytes *out, struct wp_error *error);

#endif
