/* dispatch/choose.h - which printer a sheet goes to. Pure; private to dispatch. */
#ifndef DISPATCH_CHOOSE_H
#define DISPATCH_CHOOSE_H

#include "health.h"
#include "places/places.h"

#define WP_CHOICE_TEXT 240
#define WP_PRINTERS_MOST 64

enum wp_printer_mode { WP_PRINTER_ON, WP_PRINTER_DRAINING, WP_PRINTER_PAUSED };

/* One printer as the choice sees it. */
struct wp_choice_printer {
    struct wp_candidate candidate;
    enum wp_health health;
    enum wp_printer_mode mode;
    int jobs;        /* waiting there, ours included */
    int behind_most; /* more than these and it is skipped */
    bool distrusted; /* *doubtful* counts as blocked: a sheet has already got stuck there */
    const char *name;
    const char *where; /* "by the door"; "" if nobody said */
    const char *lacks; /* "has no paper" */
};

enum wp_choice_kind {
    WP_CHOICE_SEND, /* to `printer` */
    WP_CHOICE_ASK,  /* whether to print in another room, at `printer` */
    WP_CHOICE_WAIT, /* nothing is usable */
    WP_CHOICE_LOOK  /* `printer` must be asked how it is before one can say */
};
struct wp_choice {
    enum wp_choice_kind kind;
    int64_t printer;
    char text[WP_CHOICE_TEXT]; /* for the student */
};

/* What goes before a printer's name in a sentence: "Printer ", or nothing if the name says so
 * itself. */
const char *wp_printer_word(const char *name);

/* `printers` are sorted by wp_places_rank, best first. `wanted` (0: none) is one that was asked for
 * by name: it never needs a question, and while it is paused its sheets wait for it. `without` (0:
 * none) is left out: where else could a sheet go? */
void wp_choose(const struct wp_choice_printer *printers, size_t count, int64_t wanted,
               int64_t without, struct wp_choice *choice);

#endif
