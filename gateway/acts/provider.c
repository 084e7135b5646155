#include "acts/provider.h"

#include <inttypes.h>
#include <stdio.h>

#include "people/persons.h"
#include "people/sessions.h"
#include "signed_in.h"

#define UNDER_WAY_MOST 5000

enum wp_status wp_provider_begin(struct wp_txn *txn, void *job)
{
    struct wp_provider_try *try = job;
    unsigned char hash[WP_HASH_SIZE];
    char throttle[96];
    int64_t under_way = 0;
    (void)snprintf(throttle, sizeof throttle, "openid-from:%s", try->address);
    enum wp_status status = wp_throttle(txn, throttle, 300, WP_HOUR);
    if (!status)
        status =
            wp_sql_run(txn->sql, "DELETE FROM openid_flow WHERE expires_us < ?", "i", txn->now);
    if (!status)
        status = wp_sql_int(txn->sql, &under_way, "SELECT count(*) FROM openid_flow", "");
    if (status || under_way >= UNDER_WAY_MOST)
        return status ? status : WP_RETRY;
    wp_token_new(try->token);
    wp_token_hash(try->token, hash);
    return wp_sql_run(txn->sql,
                      "INSERT INTO openid_flow (token_hash, created_us, expires_us) "
                      "VALUES (?, ?, ?)",
                      "bii", hash, sizeof hash, txn->now, txn->now + WP_PROVIDER_LIFE);
}

enum wp_status wp_provider_back(struct wp_txn *txn, void *job)
{
    const struct wp_provider_try *try = job;
    unsigned char hash[WP_HASH_SIZE];
    wp_token_hash(try->token, hash);
    enum wp_status status =
        wp_sql_run(txn->sql, "DELETE FROM openid_flow WHERE token_hash = ? AND expires_us > ?",
                   "bi", hash, sizeof hash, txn->now);
    return status ? status : wp_sql_changes(txn->sql) ? WP_OK : WP_NOT_FOUND;
}

/* The one person of that address. */
static enum wp_status find_by_email(struct wp_sql *sql, const char *email, int64_t *person)
{
    int64_t count = 0;
    enum wp_status status = wp_sql_int(
        sql, &count,
        "SELECT count(*) FROM person WHERE lower(email) = lower(?) AND erased_us IS NULL", "t",
        email);
    if (status || count != 1)
        return status ? status : WP_NOT_FOUND;
    return wp_sql_int(sql, person,
                      "SELECT id FROM person WHERE lower(email) = lower(?) AND erased_us IS NULL",
                      "t", email);
}

enum wp_status wp_provider_success(struct wp_txn *txn, struct wp_provider_try *try, cJSON **out)
{
    int64_t person = 0;
    char subject[64];
    enum wp_status status = try->by_email ? find_by_email(txn->sql, try->name, &person)
                                          : wp_person_find(txn->sql, try->name, &person);
    if (status == WP_NOT_FOUND)
        return wp_fail(&try->error, WP_DENIED,
                       "Your account at the college is good, but nobody here is known by that "
                       "name. Ask whoever looks after the course list.");
    (void)snprintf(subject, sizeof subject, "person:%" PRId64, person);
    if (!status)
        status = wp_ledger_add(txn, WP_ACTOR_PERSON, person, "sign-in", subject, "provider", NULL);
    return status ? status : wp_signed_in(txn, person, out);
}
