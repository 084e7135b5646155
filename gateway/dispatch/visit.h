/* dispatch/visit.h - one visit to one printer, on its lane: how is it, and what of our sheets?
 *
 * At most one visit to a printer is under way. It asks the printer how it is, then does each item:
 * sends a sheet, or asks after one that was sent. Private to dispatch.
 */
#ifndef DISPATCH_VISIT_H
#define DISPATCH_VISIT_H

#include "dispatch/dispatch.h"
#include "ipp.h"

#define WP_VISIT_ITEMS 8
#define WP_VISIT_TEXT 160

enum wp_visit_result {
    WP_VISIT_UNANSWERED, /* nothing is known; nothing changes */
    WP_VISIT_NOT_SENT,   /* surely nothing left the gateway; another printer may do it */
    WP_VISIT_BUSY,       /* the same, but only because it is busy: soon again */
    WP_VISIT_REFUSED,    /* the printer did not take the sheet, or gave it up; nothing came out */
    WP_VISIT_NOT_DRAWN,  /* the sheet could not be drawn: it fails */
    WP_VISIT_DRAW_LATER, /* the sheet could not be drawn now */
    WP_VISIT_SENT,       /* the printer has it, as `job` */
    WP_VISIT_GOES_ON,    /* it is there and will come out; `text` says what it waits for */
    WP_VISIT_CAME_OUT,   /* printed */
    WP_VISIT_TAKEN_BACK, /* cancelled at our wish; surely nothing came out */
    WP_VISIT_CANCELLED,  /* somebody cancelled it at the printer */
    WP_VISIT_CANNOT_SAY  /* the printer cannot say what became of it */
};

struct wp_visit_item {
    /* in */
    int64_t delivery;
    int64_t measurement;
    int64_t person;
    bool large_print;
    bool in_doubt;   /* bytes may have left: ask after it. Otherwise: send it */
    bool sheet_sent; /* the printer was known to have the whole sheet */
    int withdraw;    /* 1: cancel it; 2: take it back, it goes elsewhere; as the row has it */
    bool movable;    /* another printer is ready: use that if this one is in trouble */
    int64_t sent_us; /* when the sending began */
    /* in and out */
    int job; /* 0: no number known */
    /* out */
    enum wp_visit_result result;
    char text[WP_VISIT_TEXT]; /* after the printer's name: "has no paper" */
};

struct wp_visit {
    /* in */
    struct wp_db *db;
    const struct wp_dispatch_options *options;
    int64_t printer;
    struct wp_ipp_target target;
    bool raw;          /* port 9100 */
    char language[16]; /* of a raw printer */
    bool letter;
    int behind_most;
    struct wp_visit_item items[WP_VISIT_ITEMS];
    size_t count;
    /* out */
    bool answered;
    struct wp_ipp_look look; /* if answered and not raw */
    enum wp_health health;
    const char *lacks;           /* literal */
    char trouble[WP_VISIT_TEXT]; /* why it did not answer */
};

/* Does the visit. Lane thread; bounded by about answer_ms times a few for each item. */
void wp_visit_run(struct wp_visit *visit);

/* The same for a printer on port 9100. */
void wp_raw_visit_run(struct wp_visit *visit);

/* Draws the sheet of an item. False: the item's result is set. `pdf` must be initialised. */
bool wp_visit_draw(struct wp_visit *visit, struct wp_visit_item *item, struct wp_bytes *pdf);

/* Records, durably, that bytes are about to leave, as a change from "surely not sent". False: that
 * could not be recorded, or somebody has taken the delivery back meanwhile (result UNANSWERED: what
 * is so now will be read again); nothing may be sent. */
bool wp_visit_mark(struct wp_visit *visit, struct wp_visit_item *item, int job);

void wp_visit_say(struct wp_visit_item *item, enum wp_visit_result result, const char *text);

#endif
