/* people/access.h - who somebody is, and whether they may.
 *
 * Deny by default. A route names the roles that may use it and a scope that ties it to what is
 * asked for; both are decided here, in the same transaction as the act or view.
 *
 * Thread: inside read and write jobs.
 */
#ifndef PEOPLE_ACCESS_H
#define PEOPLE_ACCESS_H

#include "people/ask.h"

enum wp_scope {
    WP_SCOPE_UNSET = 0,   /* a route with this does not start */
    WP_SCOPE_PUBLIC,      /* nobody needs to be anybody; roles are not looked at */
    WP_SCOPE_ANY,         /* any holder of one of the roles */
    WP_SCOPE_MEASUREMENT, /* parameter 0: own for students, own sections for staff, the open turn's
                           * and fresh ones that nobody has for benches */
    WP_SCOPE_SECTION,     /* parameter 0: sections one is enrolled in or staffs */
    WP_SCOPE_INSTRUMENT,  /* parameter 0: the bench's or agent's own; for a section's staff those in
                           * the section's place; any for technicians, administrators, command */
    WP_SCOPE_PERSON       /* parameter 0: oneself, or a person in one's sections for staff */
};

/* Tokens as the request carried them, each NULL if absent. */
struct wp_proof {
    const char *bearer;  /* an agent's token */
    const char *session; /* cookie of a signed-in person */
    const char *bench;   /* cookie of an enrolled bench device */
};

#define WP_SESSION_IDLE (2 * WP_HOUR)
#define WP_SESSION_LIFE (12 * WP_HOUR)

/* Fills `*who`: nobody (roles 0) if no proof holds. A person's roles are the site-wide ones, those
 * of the sections they staff, and student if they are or were enrolled anywhere. An agent's proof
 * goes before a person's, a person's before a bench's; a bench where a person is signed in too
 * stays a person. WP_OK, or a database error. */
enum wp_status wp_who_resolve(struct wp_sql *sql, int64_t now, const struct wp_proof *proof,
                              struct wp_who *who);

/* Who is at work on the command line: `named` ("": the operating system's user, if a person has
 * that sign-in name) becomes `who->id`, so that the ledger names a person. WP_NOT_FOUND: there is
 * no person `named`. Inside read and write jobs. */
enum wp_status wp_command_named(struct wp_sql *sql, const char *named, struct wp_who *who);

/* WP_OK: may. WP_DENIED: may not (or, for students, does not exist). WP_NOT_FOUND: the parameter
 * names nothing and the caller may know that. */
enum wp_status wp_access_check(struct wp_sql *sql, int64_t now, const struct wp_who *who,
                               unsigned roles, enum wp_scope scope, const struct wp_ask *ask);

/* The role bits `who` holds towards one section: WP_ROLE_* of its staff, plus site-wide ones. */
enum wp_status wp_section_roles(struct wp_sql *sql, const struct wp_who *who, int64_t section,
                                unsigned *roles);

/* How long a bench shows what nobody has. */
#define WP_BENCH_SHOWS (20 * WP_MINUTE)

/* Whose names somebody is shown with a measurement. */
enum wp_names {
    WP_NAMES_HIDDEN, /* markers */
    WP_NAMES_SHORT,  /* benches: given name and initial, or the alias */
    WP_NAMES_OWN,    /* students: those it belongs or belonged to, no suggestions */
    WP_NAMES_ALL
};

/* What `who` is shown with a measurement of `section` (0: none); `own`: it is theirs. A person who
 * marks one section and teaches another sees no names in the first. Says nothing about whether they
 * may see the measurement at all. */
enum wp_status wp_names_seen(struct wp_sql *sql, const struct wp_who *who, int64_t section,
                             bool own, enum wp_names *names);

/* SQL, of an instrument `i` and a section (its alias): it meets there. Without a place it may meet
 * at all instruments; a meeting may have a place of its own. */
#define WP_SECTION_AT_INSTRUMENT(section)                                                          \
    "(" section ".place = '' OR i.place = " section ".place OR "                                   \
    "substr(i.place, 1, length(" section ".place) + 1) = " section ".place || '/' OR "             \
    "EXISTS (SELECT 1 FROM meeting held WHERE held.section_id = " section ".id AND "               \
    "held.place <> '' AND (i.place = held.place OR substr(i.place, 1, length(held.place) + 1) = "  \
    "held.place || '/')))"

/* SQL, of an instrument `i` and a person (a parameter's name): a section that the person looks
 * after meets where it stands. */
#define WP_INSTRUMENT_IS_THEIRS(person)                                                            \
    "EXISTS (SELECT 1 FROM section_staff y JOIN section z ON z.id = y.section_id WHERE "           \
    "y.person_id = " person " AND y.roles & 6 <> 0 AND (z.ended_us IS NULL OR "                    \
    "y.roles & 4 <> 0) AND " WP_SECTION_AT_INSTRUMENT("z") ")"

/* SQL, of a notice `n` about the instrument `i` and the person ?2: one of its measurements is of a
 * section that the person looks after, or none is of any section and the instrument is theirs. */
#define WP_NOTICE_IS_THEIRS                                                                        \
    "(EXISTS (SELECT 1 FROM measurement x JOIN section_staff y ON y.section_id = x.section_id "    \
    "WHERE x.id IN (n.measurement_id, n.other_id) AND y.person_id = ?2 AND y.roles & 6 <> 0) OR "  \
    "(NOT EXISTS (SELECT 1 FROM measurement x WHERE x.id IN (n.measurement_id, n.other_id) AND "   \
    "x.section_id IS NOT NULL) AND " WP_INSTRUMENT_IS_THEIRS("?2") "))"

/* The names of role bits for documents: "student, instructor". */
void wp_roles_text(unsigned roles, char *text, size_t room);
const char *wp_scope_text(enum wp_scope scope);

#endif
