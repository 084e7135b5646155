/* What a person wants of mail. */
#include "mailing.h"

#include <stdio.h>
#include <string.h>

#include "returned.h"

static const char *const names[] = {
    [WP_MAILING_NONE] = "none",
    [WP_MAILING_DIGEST] = "digest",
    [WP_MAILING_EACH] = "each",
    [WP_MAILING_LINK] = "link",
};

const char *wp_mailing_name(enum wp_mailing mailing)
{
    return names[mailing];
}

bool wp_mailing_read(const char *text, enum wp_mailing *mailing)
{
    for (size_t i = 0; text != NULL && i < sizeof names / sizeof *names; i++)
        if (strcmp(text, names[i]) == 0) {
            *mailing = (enum wp_mailing)i;
            return true;
        }
    return false;
}

/* "course" if nothing was chosen. */
static enum wp_status read_choice(struct wp_sql *sql, int64_t person, char choice[16])
{
    struct wp_rows rows;
    snprintf(choice, 16, "course");
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT choice FROM mail_choice WHERE person_id = ?", "i", person);
    if (status)
        return status;
    if (wp_rows_next(&rows))
        snprintf(choice, 16, "%s", wp_rows_text(&rows, 0));
    return wp_rows_end(&rows);
}

enum wp_status wp_mailing_choose(struct wp_sql *sql, int64_t person, enum wp_mailing *mailing)
{
    char text[16];
    enum wp_mailing choice;
    enum wp_status status = read_choice(sql, person, text);
    if (status || !wp_mailing_read(text, &choice))
        return status;
    if (*mailing == WP_MAILING_LINK && choice != WP_MAILING_NONE)
        return WP_OK;
    *mailing = choice;
    return WP_OK;
}

enum wp_status wp_mail_returned(struct wp_sql *sql, int64_t person, cJSON **out)
{
    struct wp_returned returned;
    *out = NULL;
    enum wp_status status = wp_returned_read(sql, person, &returned);
    if (status)
        return status;
    *out = returned.any ? cJSON_CreateObject() : cJSON_CreateNull();
    if (*out == NULL || !returned.any)
        return *out != NULL ? WP_OK : WP_NO_MEMORY;
    if (cJSON_AddNumberToObject(*out, "at_us", (double)returned.at_us) != NULL &&
        cJSON_AddStringToObject(*out, "reason", returned.reason) != NULL &&
        cJSON_AddBoolToObject(*out, "stopped", returned.stopped) != NULL)
        return WP_OK;
    cJSON_Delete(*out);
    *out = NULL;
    return WP_NO_MEMORY;
}

static enum wp_status answer(struct wp_sql *sql, int64_t person, cJSON **out)
{
    char choice[16];
    enum wp_status status = read_choice(sql, person, choice);
    if (status)
        return status;
    cJSON *returned;
    status = wp_mail_returned(sql, person, &returned);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    if (*out != NULL && cJSON_AddStringToObject(*out, "choice", choice) != NULL &&
        cJSON_AddItemToObject(*out, "returned", returned))
        return WP_OK;
    cJSON_Delete(returned);
    return WP_NO_MEMORY;
}

static enum wp_status who(const struct wp_ask *ask, int64_t *person, struct wp_error *error)
{
    if (ask->who->actor != WP_ACTOR_PERSON || ask->who->id == 0)
        return wp_fail(error, WP_DENIED, "Only a signed-in person chooses about mail.");
    *person = ask->who->id;
    return WP_OK;
}

enum wp_status wp_mail_act_choose(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                  struct wp_error *error)
{
    int64_t person = 0;
    enum wp_mailing mailing;
    enum wp_status status = who(ask, &person, error);
    if (status)
        return status;
    const char *choice = wp_ask_text(ask, "choice");
    if (choice == NULL || (strcmp(choice, "course") != 0 && !wp_mailing_read(choice, &mailing)))
        return wp_fail(error, WP_INVALID,
                       "The choice is one of course, none, digest, each and link.");
    status = wp_sql_run(txn->sql,
                        "INSERT INTO mail_choice (person_id, choice, changed_us) VALUES (?, ?, ?)"
                        " ON CONFLICT (person_id) DO UPDATE SET choice = excluded.choice,"
                        " changed_us = excluded.changed_us",
                        "iti", person, choice, txn->now);
    return status ? status : answer(txn->sql, person, out);
}

enum wp_status wp_mail_view_choice(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                   struct wp_error *error)
{
    int64_t person = 0;
    enum wp_status status = who(ask, &person, error);
    return status ? status : answer(sql, person, out);
}
