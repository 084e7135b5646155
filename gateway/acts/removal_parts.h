/* removal_parts.h - what the files of removal share. Private to acts. */
#ifndef ACTS_REMOVAL_PARTS_H
#define ACTS_REMOVAL_PARTS_H

#include "acts/removal_acts.h"
#include "archive/removal.h"

/* Takes out a measurement and what is on its way of it, and tells whoever shows it. */
enum wp_status removal_measurement(struct wp_txn *txn, int64_t measurement, int64_t removal);

/* Erases a person as `removal` says; the counts and numbers go into `out`. With `dry` nothing is
 * changed. WP_NOT_FOUND: no such person, or erased already. */
enum wp_status removal_person(struct wp_txn *txn, struct wp_removal *removal, int64_t person,
                              bool dry, cJSON *out);

/* Something deleted is to be wiped. */
enum wp_status removal_want_scrub(struct wp_txn *txn);

#endif
