/* people/persons.h - persons, courses, sections, rosters, experiments: their tables. Inside jobs.
 *
 * Every function that takes names takes UTF-8 in any script; lengths are checked, control
 * characters are refused.
 */
#ifndef PEOPLE_PERSONS_H
#define PEOPLE_PERSONS_H

#include "base/clock.h"
#include "people/ask.h"

#define WP_NAME_MOST 128 /* bytes of one part of a name */

struct wp_person {
    int64_t id;        /* 0: new */
    const char *login; /* sign-in name: ASCII letters, digits, . _ - @, at most 64 */
    const char *given; /* this and what follows: NULL leaves it as it is (or "" when new) */
    const char *family;
    const char *email;
    const char *alias; /* shown at benches instead of the name */
    unsigned roles;    /* site-wide: technician, administrator */
    bool roles_stay;   /* of somebody known: `roles` is not looked at */
};

/* Adds a person or, when the sign-in name is known, changes what is given of their names, address
 * and roles. */
enum wp_status wp_person_put(struct wp_txn *txn, struct wp_person *person, struct wp_error *error);
enum wp_status wp_person_find(struct wp_sql *sql, const char *login, int64_t *id);
enum wp_status wp_person_set_password(struct wp_txn *txn, int64_t person, const char *hash);

/* "Maya Rowan" in `text`; "" for somebody erased. */
enum wp_status wp_person_name(struct wp_sql *sql, int64_t person, char *text, size_t room);
/* The address mails go to; "" if there is none. WP_NOT_FOUND: no such person. */
enum wp_status wp_person_email(struct wp_sql *sql, int64_t person, char *text, size_t room);

/* What the body's member `change` says, against whether it is there (`found`: WP_OK, or
 * WP_NOT_FOUND): false adds only (WP_CONFLICT, "There is a course "X" already."), true changes only
 * (WP_NOT_FOUND), absent does either, for scripts that bring what should be there. `what` has its
 * article
 * ("a course"). Other values of `found` are handed back. */
enum wp_status wp_put_fits(const struct wp_ask *ask, enum wp_status found, const char *what,
                           const char *name, struct wp_error *error);

/* Adds by code, or changes what is given (see wp_put_fits); ids of those that exist stay. What the
 * body does not name stays as it is. A section's `term` is a term's code, "" for none; `ended` ends
 * a section or an experiment, or takes that back. */
enum wp_status wp_course_put(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                             struct wp_error *error);
enum wp_status wp_section_put(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                              struct wp_error *error);
enum wp_status wp_experiment_put(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                                 struct wp_error *error);

/* `number` NULL: it stays as it is. */
enum wp_status wp_enrol(struct wp_txn *txn, int64_t section, int64_t person, const char *number);
/* From one section to another, with their number and what they sign on with. */
enum wp_status wp_enrolment_move(struct wp_txn *txn, int64_t from, int64_t to, int64_t person);
/* Ends an enrolment; what was measured stays. */
enum wp_status wp_unenrol(struct wp_txn *txn, int64_t section, int64_t person);
/* No roles: they are no staff of it any more. */
enum wp_status wp_staff_put(struct wp_txn *txn, int64_t section, int64_t person, unsigned roles);

/* The id of a section named by "COURSE SECTION" members `course` and `section` of the body. */
enum wp_status wp_section_named(struct wp_sql *sql, const struct wp_ask *ask, int64_t *id,
                                struct wp_error *error);

/* Checks a text a person typed: 1 (or 0 if `may_be_empty`) to `most` bytes of UTF-8 without control
 * characters. */
bool wp_typed_ok(const char *text, size_t most, bool may_be_empty);

#endif
