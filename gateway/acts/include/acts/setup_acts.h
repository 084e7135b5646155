/* acts/setup_acts.h - persons, courses, sections, experiments, staff, rosters, sign-in.
 *
 * All are wp_act_fn (see people/ask.h).
 */
#ifndef ACTS_SETUP_ACTS_H
#define ACTS_SETUP_ACTS_H

#include "acts/fleet_acts.h"
#include "base/secret.h"

WP_ACT(wp_act_person_put);
WP_ACT(wp_act_course_put);
WP_ACT(wp_act_section_put);
WP_ACT(wp_act_experiment_put);
WP_ACT(wp_act_staff_put);
WP_ACT(wp_act_roster);   /* body: course, section, csv, dry_run */
WP_ACT(wp_act_link_use); /* body: token of a mailed link; answers who one is, and session_token */
WP_ACT(wp_act_sign_out);
WP_ACT(wp_act_session_end); /* parameter 0: a session's key, one's own only */
WP_ACT(wp_act_sign_out_everywhere);

/* Two halves of signing in by password: the hash to check on the password lane (WP_NOT_FOUND: no
 * such person or no password; check against a dummy all the same), then the session. */
struct wp_password_try {
    char login[80];
    char hash[WP_PASSWORD_ROOM];
    int64_t person;
    char address[64];
};
enum wp_status wp_password_begin(struct wp_txn *txn, void *try); /* throttles; WP_RETRY */
enum wp_status wp_password_success(struct wp_txn *txn, struct wp_password_try *try, cJSON **out);

/* A one-time link for the person with this sign-in name: WP_NOT_FOUND, WP_RETRY (throttled). */
struct wp_link_wanted {
    char login[80];
    char address[64];
    char token[WP_TOKEN_ROOM];
    char email[256];
    char name[280];
    int64_t person;
};
enum wp_status wp_link_begin(struct wp_txn *txn, void *wanted);

/* At every start: secrets and settings that must exist. A wp_write_fn; the job is not used. */
enum wp_status wp_act_start(struct wp_txn *txn, void *job);

/* Once the gateway knows its own address: it goes into join strings, also those that the command
 * line makes while no gateway runs. */
enum wp_status wp_act_named(struct wp_txn *txn, void *job);

#endif
