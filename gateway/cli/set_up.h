/* set_up.h - what the verbs that set a gateway up share. Private to the room. */
#ifndef CLI_SET_UP_H
#define CLI_SET_UP_H

#include "cli.h"

struct set_up {
    const char *verb;
    const char *folder;
    struct wp_words words;
    cJSON *body; /* the options, as members of a request */
};

/* One request of the JSON API. Exit codes, failures printed; so is a change done if nobody wants
 * the `answer`, which may be NULL. */
int wp_set_up_call(struct set_up *set_up, const char *method, const char *path, cJSON **answer);
/* Shows the list of the verb, as a table or with --json as it came. -1: not one of these verbs. */
int wp_set_up_list(struct set_up *set_up);

/* Persons, courses and what belongs to them: terms, timetables, rosters, staff. -1: not one of
 * these verbs. */
int wp_set_up_courses(struct set_up *set_up);
int wp_set_up_roster(struct set_up *set_up);
int wp_set_up_timetable(struct set_up *set_up);
int wp_set_up_removal(struct set_up *set_up);
int wp_set_up_turn(struct set_up *set_up);

/* The id of a section named by --course and --section. */
int wp_set_up_section(struct set_up *set_up, long long *id);

/* The id of a person by the sign-in name, of an instrument by its name. */
int wp_set_up_person(struct set_up *set_up, const char *login, long long *id);
int wp_set_up_named(struct set_up *set_up, const char *path, const char *list, const char *name,
                    long long *id);

/* A member of an answer as text: numbers without a fraction, instants (..._us) as local time, lists
 * joined by ", ", of a measurement its accession number, null as "". */
void wp_member_words(const cJSON *row, const char *name, char *text, size_t room);

/* Prints rows as columns, each as wide as its widest; `names` are members, ended by NULL. Nothing
 * but `none` if there is no row. */
void wp_print_table(const cJSON *rows, const char *const names[], const char *none);

#endif
