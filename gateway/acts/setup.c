#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/setup_acts.h"
#include "acts/site.h"
#include "base/bytes.h"
#include "base/id.h"
#include "people/persons.h"
#include "people/sessions.h"
#include "signed_in.h"

/* Tries are counted for one name however it is written, as it is looked up. */
static void throttle_name(const char *what, const char *login, char *name, size_t room)
{
    (void)snprintf(name, room, "%s:%s", what, login);
    for (char *at = name; *at; at++)
        if (*at >= 'A' && *at <= 'Z')
            *at = (char)(*at - 'A' + 'a');
}

static enum wp_status note(struct wp_txn *txn, const struct wp_ask *ask, const char *table,
                           int64_t id)
{
    return wp_ask_record(txn, ask, "setting", table, id,
                         ask->who->command_name[0] ? ask->who->command_name : NULL);
}

static enum wp_status answer_id(struct wp_txn *txn, const struct wp_ask *ask, const char *table,
                                int64_t id, cJSON **out)
{
    *out = cJSON_CreateObject();
    cJSON_AddNumberToObject(*out, "id", (double)id);
    return note(txn, ask, table, id);
}

static bool role_bits(const cJSON *list, unsigned allowed, unsigned *roles)
{
    static const struct {
        const char *name;
        unsigned bit;
    } words[] = {{"demonstrator", WP_ROLE_DEMONSTRATOR},
                 {"instructor", WP_ROLE_INSTRUCTOR},
                 {"marker", WP_ROLE_MARKER},
                 {"technician", WP_ROLE_TECHNICIAN},
                 {"administrator", WP_ROLE_ADMINISTRATOR}};
    const cJSON *item = NULL;
    *roles = 0;
    cJSON_ArrayForEach(item, list)
    {
        unsigned bit = 0;
        for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
            if (cJSON_IsString(item) && !strcmp(words[i].name, item->valuestring))
                bit = words[i].bit & allowed;
        if (!bit)
            return false;
        *roles |= bit;
    }
    return true;
}

WP_ACT(wp_act_person_put)
{
    struct wp_person person = {.login = wp_ask_text(ask, "login"),
                               .given = wp_ask_text(ask, "given"),
                               .family = wp_ask_text(ask, "family"),
                               .email = wp_ask_text(ask, "email"),
                               .alias = wp_ask_text(ask, "alias")};
    const cJSON *roles = cJSON_GetObjectItemCaseSensitive(ask->body, "roles");
    person.roles_stay = !roles;
    if (!role_bits(roles, WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR, &person.roles))
        return wp_fail(
            error, WP_INVALID,
            "A person's roles are \"technician\" and \"administrator\"; others belong to "
            "a section's staff.");
    enum wp_status status =
        wp_put_fits(ask, wp_person_find(txn->sql, person.login ? person.login : "", &person.id),
                    "a person", person.login ? person.login : "", error);
    if (!status)
        status = wp_person_put(txn, &person, error);
    /* Hashed beforehand on the password lane by who calls this. */
    const char *hash = wp_ask_text(ask, "password_hash");
    if (!status && hash)
        status = wp_person_set_password(txn, person.id, hash);
    /* Whoever knew the old one is signed out. */
    if (!status && hash && person.id != ask->who->id)
        status = wp_session_close_all(txn, person.id);
    return status ? status : answer_id(txn, ask, "person", person.id, out);
}

WP_ACT(wp_act_course_put)
{
    int64_t id = 0;
    enum wp_status status = wp_course_put(txn, ask, &id, error);
    return status ? status : answer_id(txn, ask, "course", id, out);
}

WP_ACT(wp_act_section_put)
{
    int64_t id = 0;
    enum wp_status status = wp_section_put(txn, ask, &id, error);
    return status ? status : answer_id(txn, ask, "section", id, out);
}

WP_ACT(wp_act_experiment_put)
{
    int64_t id = 0;
    enum wp_status status = wp_experiment_put(txn, ask, &id, error);
    return status ? status : answer_id(txn, ask, "experiment", id, out);
}

WP_ACT(wp_act_staff_put)
{
    int64_t section = 0, person = 0;
    unsigned roles = 0;
    const char *login = wp_ask_text(ask, "login");
    if (!role_bits(cJSON_GetObjectItemCaseSensitive(ask->body, "roles"),
                   WP_ROLE_DEMONSTRATOR | WP_ROLE_INSTRUCTOR | WP_ROLE_MARKER, &roles))
        return wp_fail(error, WP_INVALID,
                       "A section's staff are \"instructor\", \"demonstrator\" or \"marker\".");
    enum wp_status status = wp_section_named(txn->sql, ask, &section, error);
    if (!status)
        status = wp_person_find(txn->sql, login ? login : "", &person);
    if (status == WP_NOT_FOUND && (!error || !error->status))
        return wp_fail(error, status, "There is no person \"%.64s\".", login ? login : "");
    if (!status)
        status = wp_staff_put(txn, section, person, roles);
    return status ? status : answer_id(txn, ask, "section", section, out);
}

WP_ACT(wp_act_link_use)
{
    int64_t person = 0;
    char subject[64], throttle[96];
    const char *given = wp_ask_text(ask, "token");
    (void)snprintf(throttle, sizeof throttle, "link-use:%s", ask->address ? ask->address : "");
    enum wp_status status = wp_throttle(txn, throttle, 60, WP_HOUR);
    if (status == WP_RETRY)
        return wp_fail(error, status, "Too many tries; wait an hour.");
    if (!status)
        status = given && strlen(given) < WP_TOKEN_ROOM ? wp_link_use(txn, given, &person)
                                                        : WP_NOT_FOUND;
    txn->keep = status == WP_NOT_FOUND; /* a wrong link counts; nothing else was written */
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "This link was used already or is too old. Ask for another.");
    (void)snprintf(subject, sizeof subject, "person:%" PRId64, person);
    if (!status)
        status = wp_ledger_add(txn, WP_ACTOR_PERSON, person, "sign-in", subject, "link", NULL);
    return status ? status : wp_signed_in(txn, person, out);
}

WP_ACT(wp_act_sign_out)
{
    (void)error;
    enum wp_status status = wp_session_close(txn, ask->who->session);
    *out = cJSON_CreateObject();
    cJSON_AddNullToObject(*out, "session_token");
    return status;
}

WP_ACT(wp_act_session_end)
{
    const char *key = ask->param[0];
    unsigned char start[WP_SESSION_KEY];
    enum wp_status status = WP_NOT_FOUND;
    if (key && wp_hex_decode(key, start, sizeof start))
        status = wp_session_close_one(txn, ask->who->id, start);
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "This session has ended already.");
    if (status)
        return status;
    /* Whoever ends the one at hand is signed out in this browser as well. */
    if (!memcmp(start, ask->who->session, sizeof start)) {
        *out = cJSON_CreateObject();
        cJSON_AddNullToObject(*out, "session_token");
    }
    return wp_ask_record(txn, ask, "sign-out", "person", ask->who->id, NULL);
}

WP_ACT(wp_act_sign_out_everywhere)
{
    (void)error;
    enum wp_status status = wp_session_close_all(txn, ask->who->id);
    *out = cJSON_CreateObject();
    cJSON_AddNullToObject(*out, "session_token");
    return status;
}

enum wp_status wp_password_begin(struct wp_txn *txn, void *job)
{
    struct wp_password_try *try = job;
    char account[112], address[96];
    throttle_name("password", try->login, account, sizeof account);
    (void)snprintf(address, sizeof address, "password-from:%s", try->address);
    txn->keep = true; /* a try for somebody unknown counts as well */
    enum wp_status status = wp_throttle(txn, account, 10, 15 * WP_MINUTE);
    if (!status)
        status = wp_throttle(txn, address, 100, 15 * WP_MINUTE);
    if (!status)
        status = wp_person_find(txn->sql, try->login, &try->person);
    if (status)
        return status;
    struct wp_rows rows;
    status = wp_sql_query(txn->sql, &rows, "SELECT password_hash FROM person WHERE id = ?", "i",
                          try->person);
    if (status)
        return status;
    bool found = wp_rows_next(&rows) && !wp_rows_null(&rows, 0);
    if (found)
        (void)snprintf(try->hash, sizeof try->hash, "%s", wp_rows_text(&rows, 0));
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

enum wp_status wp_password_success(struct wp_txn *txn, struct wp_password_try *try, cJSON **out)
{
    char subject[64], account[112];
    throttle_name("password", try->login, account, sizeof account);
    (void)snprintf(subject, sizeof subject, "person:%" PRId64, try->person);
    enum wp_status status = wp_throttle_clear(txn, account);
    if (!status)
        status =
            wp_ledger_add(txn, WP_ACTOR_PERSON, try->person, "sign-in", subject, "password", NULL);
    return status ? status : wp_signed_in(txn, try->person, out);
}

enum wp_status wp_link_begin(struct wp_txn *txn, void *job)
{
    struct wp_link_wanted *wanted = job;
    char account[112], address[96];
    throttle_name("link", wanted->login, account, sizeof account);
    (void)snprintf(address, sizeof address, "link-from:%s", wanted->address);
    txn->keep = true; /* a try for somebody unknown counts as well */
    enum wp_status status = wp_throttle(txn, account, 5, WP_HOUR);
    if (!status)
        status = wp_throttle(txn, address, 60, WP_HOUR);
    if (!status)
        status = wp_person_find(txn->sql, wanted->login, &wanted->person);
    if (status)
        return status;
    struct wp_rows rows;
    status = wp_sql_query(txn->sql, &rows,
                          "SELECT email, trim(given || ' ' || family) FROM person WHERE id = ? "
                          "AND email <> ''",
                          "i", wanted->person);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        (void)snprintf(wanted->email, sizeof wanted->email, "%s", wp_rows_text(&rows, 0));
        (void)snprintf(wanted->name, sizeof wanted->name, "%s", wp_rows_text(&rows, 1));
    }
    status = wp_rows_end(&rows);
    if (!status && !found)
        status = WP_NOT_FOUND;
    return status ? status : wp_link_make(txn, wanted->person, wanted->token);
}

static enum wp_status put_setting(struct wp_txn *txn, const char *name, const char *value,
                                  bool keep)
{
    return wp_sql_run(txn->sql,
                      keep ? "INSERT INTO setting (name, value, changed_us) VALUES (?, ?, ?) "
                             "ON CONFLICT (name) DO NOTHING"
                           : "INSERT INTO setting (name, value, changed_us) VALUES (?, ?, ?) "
                             "ON CONFLICT (name) DO UPDATE SET value = excluded.value, "
                             "changed_us = excluded.changed_us",
                      "tti", name, value, txn->now);
}

enum wp_status wp_act_start(struct wp_txn *txn, void *job)
{
    (void)job;
    char key[WP_TOKEN_ROOM];
    wp_token_new(key);
    enum wp_status status = put_setting(txn, "claim_key", key, true);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO span (id, subject, subject_id, state, from_us, to_us) "
                            "VALUES (?, 'gateway', 0, 'up', ?, ?)",
                            "iii", wp_id_next(), txn->now, txn->now);
    return status;
}

enum wp_status wp_act_named(struct wp_txn *txn, void *job)
{
    (void)job;
    enum wp_status status = put_setting(txn, "public_url", wp_site.public_url, false);
    return status ? status : put_setting(txn, "pin", wp_site.pin, false);
}
