/* dispatch/mailing.h - how a person gets mail. Private to dispatch. */
#ifndef DISPATCH_MAILING_H
#define DISPATCH_MAILING_H

#include "dispatch/dispatch.h"

/* "none", "digest", "each", "link". */
const char *wp_mailing_name(enum wp_mailing mailing);
bool wp_mailing_read(const char *text, enum wp_mailing *mailing);

/* Turns what the course asks for into what the person has chosen, link staying link. */
enum wp_status wp_mailing_choose(struct wp_sql *sql, int64_t person, enum wp_mailing *mailing);

#endif
