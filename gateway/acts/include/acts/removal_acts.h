/* acts/removal_acts.h - what is removed for good: a private file, and a person who has a right to
 * it.
 *
 * Each is asked twice: with `dry_run` it answers what it would do and changes nothing; else the
 * number or the sign-in name must be typed again as `confirm`, and a reason be given, which stays.
 * All are wp_act_fn (see people/ask.h).
 */
#ifndef ACTS_REMOVAL_ACTS_H
#define ACTS_REMOVAL_ACTS_H

#include "acts/fleet_acts.h"

/* Parameter 0: measurement; body: confirm (its number), reason, dry_run. Answers accession, `files`
 * whose bytes go, `kept` numbers of other measurements that keep a file of it. */
WP_ACT(wp_act_remove_measurement);

/* Parameter 0: an object's digest in hexadecimal; body: confirm (its first eight digits), reason,
 * dry_run. For files that are no spectrum. */
WP_ACT(wp_act_remove_object);

/* Parameter 0: person; body: confirm (the sign-in name), reason, spectra ("keep", the default, or
 * "remove"), dry_run. Kept spectra stay in their section without a name; where the file itself
 * holds it, they are removed all the same. Spectra that others have too stay theirs. Answers
 * `spectra`, `kept`, `shared`, `removed` and the numbers in `named`: those removed, though kept was
 * asked, because of what the file says. */
WP_ACT(wp_act_erase_person);

/* At start, before anybody asks: does again what the list outside the database says and the
 * database does not know. `folder` is the data folder. WP_INVALID and WP_IO as wp_removals_read. */
enum wp_status wp_removals_repeat(struct wp_db *db, const char *folder, struct wp_error *error);

/* A read job; the job is a `bool`: whether something deleted waits to be wiped (wp_db_scrub) and
 * now is the time: a small database at once, a large one while no turn is open, any after a day. */
enum wp_status wp_scrub_due(struct wp_sql *sql, void *due);

#endif
