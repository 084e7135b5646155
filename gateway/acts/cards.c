/* Bench cards and PINs: one's own, a section's, a lost one. */
#include <inttypes.h>
#include <stdio.h>

#include "acts/bench_acts.h"
#include "acts/site.h"
#include "people/cards.h"
#include "people/sessions.h"
#include "views/bench.h"

#define SECTION_MOST 1000

/* Whether somebody else's PIN is found by trying to take it. Common practice, no source. */
#define PIN_TRIES 10

WP_ACT(wp_act_card)
{
    (void)error;
    int64_t person = ask->who->id;
    bool anew = wp_ask_flag(ask, "anew");
    enum wp_status status = wp_card_make(txn, wp_site.bench_key, person, anew);
    if (!status)
        status = wp_ask_record(txn, ask, anew ? "card-anew" : "card", "person", person, NULL);
    return status ? status : wp_view_card(txn->sql, ask, out, error);
}

WP_ACT(wp_act_pin)
{
    char name[48];
    int64_t person = ask->who->id;
    const char *pin = wp_ask_text(ask, "pin");
    if (!pin)
        return wp_fail(error, WP_INVALID, "\"pin\" is missing.");
    (void)snprintf(name, sizeof name, "pin:%" PRId64, person);
    enum wp_status status = wp_throttle(txn, name, PIN_TRIES, WP_HOUR);
    if (status == WP_RETRY)
        return wp_fail(error, status, "Too many tries; wait an hour.");
    txn->keep = true; /* a PIN that was refused counts; nothing else has been written */
    if (!status)
        status = wp_pin_set(txn, wp_site.bench_key, person, pin, error);
    if (status)
        return status;
    txn->keep = false;
    status = wp_ask_record(txn, ask, *pin ? "pin" : "pin-off", "person", person, NULL);
    return status ? status : wp_view_card(txn->sql, ask, out, error);
}

WP_ACT(wp_act_section_cards)
{
    int64_t section = 0, ids[SECTION_MOST], made = 0;
    size_t count = 0;
    struct wp_rows rows;
    char card[WP_CARD_ROOM];
    (void)error;
    if (!wp_ask_param_int(ask, 0, &section))
        return WP_NOT_FOUND;
    enum wp_status status =
        wp_sql_query(txn->sql, &rows,
                     "SELECT person_id FROM enrolled WHERE section_id = ? AND to_us IS NULL "
                     "ORDER BY person_id LIMIT 1000",
                     "i", section);
    if (status)
        return status;
    while (count < SECTION_MOST && wp_rows_next(&rows))
        ids[count++] = wp_rows_int(&rows, 0);
    status = wp_rows_end(&rows);
    for (size_t i = 0; !status && i < count; i++) {
        status = wp_card_read(txn->sql, wp_site.bench_key, ids[i], card);
        if (status != WP_NOT_FOUND)
            continue;
        status = wp_card_make(txn, wp_site.bench_key, ids[i], false);
        if (!status)
            status = wp_ask_record(txn, ask, "card", "person", ids[i], NULL);
        made++;
    }
    if (status)
        return status;
    *out = cJSON_CreateObject();
    cJSON_AddNumberToObject(*out, "cards", (double)count);
    cJSON_AddNumberToObject(*out, "made", (double)made);
    return WP_OK;
}

WP_ACT(wp_act_card_void)
{
    (void)out;
    int64_t person = 0;
    if (!wp_ask_param_int(ask, 0, &person))
        return WP_NOT_FOUND;
    enum wp_status status =
        wp_sql_run(txn->sql, "DELETE FROM bench_card WHERE person_id = ?", "i", person);
    if (!status && !wp_sql_changes(txn->sql))
        return wp_fail(error, WP_NOT_FOUND, "This person has neither a card nor a PIN.");
    return status ? status : wp_ask_record(txn, ask, "card-void", "person", person, NULL);
}
