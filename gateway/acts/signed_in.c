#include "signed_in.h"

#include "people/sessions.h"
#include "views/lists.h"

enum wp_status wp_signed_in(struct wp_txn *txn, int64_t person, cJSON **out)
{
    char token[WP_TOKEN_ROOM];
    struct wp_who who;
    struct wp_error error = {0};
    enum wp_status status = wp_session_open(txn, person, token);
    const struct wp_proof proof = {.session = token};
    if (!status)
        status = wp_who_resolve(txn->sql, txn->now, &proof, &who);
    const struct wp_ask ask = {.who = &who};
    if (!status)
        status = wp_view_me(txn->sql, &ask, out, &error);
    if (!status)
        cJSON_AddStringToObject(*out, "session_token", token);
    return status;
}
