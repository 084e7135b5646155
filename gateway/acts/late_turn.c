/* A turn that staff enter afterwards, and the spectra that it takes over. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/bench_acts.h"
#include "base/bytes.h"
#include "base/clock.h"
#include "claims_parts.h"
#include "people/persons.h"
#include "stamping_parts.h"
#include "views/measurements.h"

#define SITE_WIDE (WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)
#define RESTAMPED_MOST 256

struct taken {
    int64_t ids[RESTAMPED_MOST];
    size_t count;
};

/* Measurements of the instrument in that time that nobody has, or that the rule gave to another
 * turn; of other sections only for those who look after them. What a person said stays. */
static enum wp_status find_taken(struct wp_sql *sql, const struct wp_ask *ask,
                                 const struct wp_turn *turn, struct taken *taken)
{
    struct wp_rows rows;
    taken->count = 0;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT m.id FROM measurement m JOIN stamp s ON s.id = m.stamp_id WHERE "
        "m.instrument_id = ? AND m.measured_us >= ? AND m.measured_us < ? AND "
        "s.rule IN ('nobody', 'turn') AND (? OR m.section_id IS NULL OR EXISTS ("
        "SELECT 1 FROM section_staff t WHERE t.section_id = m.section_id AND "
        "t.person_id = ? AND t.roles & 6 <> 0)) ORDER BY m.id LIMIT ?",
        "iiiiii", turn->instrument, turn->opened_us, turn->closed_us,
        (int64_t)((ask->who->roles & SITE_WIDE) != 0), ask->who->id, (int64_t)RESTAMPED_MOST);
    if (status)
        return status;
    while (taken->count < RESTAMPED_MOST && wp_rows_next(&rows))
        taken->ids[taken->count++] = wp_rows_int(&rows, 0);
    return wp_rows_end(&rows);
}

static enum wp_status restamp(struct wp_txn *txn, const struct wp_ask *ask,
                              const struct wp_turn *turn, int64_t measurement)
{
    struct wp_stamp stamp = {
        .measurement = measurement, .author = ask->who->actor, .author_id = ask->who->id};
    wp_stamp_from_turn(turn, "turn entered later", &stamp);
    wp_text_copy(stamp.reason, sizeof stamp.reason, "A turn was entered afterwards.");
    enum wp_status status = wp_stamp_add(txn, &stamp);
    if (!status)
        status = wp_measurement_set_turn(txn, measurement, turn->id);
    if (!status)
        status = wp_measurement_counts_by_default(txn, measurement);
    return status ? status : claims_tell(txn, measurement, &stamp);
}

/* What is taken over, as whoever asks may see it now. */
static enum wp_status list_taken(struct wp_sql *sql, const struct wp_ask *ask,
                                 const struct taken *taken, cJSON *list)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < taken->count; i++) {
        cJSON *one = NULL;
        status = wp_measurement_json(sql, ask->who, taken->ids[i], &one);
        if (one)
            cJSON_AddItemToArray(list, one);
    }
    return status;
}

static enum wp_status enter(struct wp_txn *txn, const struct wp_ask *ask, struct wp_turn *turn,
                            const struct taken *taken, cJSON *out)
{
    enum wp_status status = wp_turn_open(txn, turn);
    cJSON_AddNumberToObject(out, "turn", (double)turn->id);
    for (size_t i = 0; !status && i < taken->count; i++)
        status = restamp(txn, ask, turn, taken->ids[i]);
    return status ? status : wp_ask_record(txn, ask, "turn", "turn", turn->id, NULL);
}

/* Pages say instants as numbers, people as text. */
static bool read_instant(const struct wp_ask *ask, const char *number, const char *text,
                         int64_t *at)
{
    const char *said = wp_ask_text(ask, text);
    return wp_ask_int(ask, number, at) || (said && wp_clock_parse(said, at));
}

static enum wp_status read_turn(struct wp_txn *txn, const struct wp_ask *ask, struct wp_turn *turn,
                                struct wp_error *error)
{
    int64_t instrument = 0, from = 0, to = 0;
    memset(turn, 0, sizeof *turn);
    if (!wp_ask_int(ask, "instrument", &instrument) ||
        !read_instant(ask, "from_us", "starts", &from) ||
        !read_instant(ask, "to_us", "ends", &to) || from >= to || to - from > WP_DAY ||
        from >= txn->now)
        return wp_fail(error, WP_INVALID,
                       "A turn needs an instrument and a span of at most a day that has begun.");
    enum wp_status status = wp_turn_from_ask(txn, ask, instrument, turn, error);
    if (!status)
        status =
            claims_check_staff(txn, ask, turn->section, turn->persons, turn->person_count, error);
    turn->opened_us = from;
    turn->closed_us = to < txn->now ? to : txn->now; /* not what is still to come */
    turn->source = "staff";
    turn->author = ask->who->id;
    return status;
}

WP_ACT(wp_act_turn_add)
{
    struct wp_turn turn;
    struct taken taken;
    bool dry = wp_ask_flag(ask, "dry_run");
    enum wp_status status = read_turn(txn, ask, &turn, error);
    if (!status)
        status = find_taken(txn->sql, ask, &turn, &taken);
    if (status)
        return status;
    *out = cJSON_CreateObject();
    cJSON *ids = cJSON_AddArrayToObject(*out, "restamped");
    for (size_t i = 0; i < taken.count; i++)
        cJSON_AddItemToArray(ids, cJSON_CreateNumber((double)taken.ids[i]));
    if (!dry)
        return enter(txn, ask, &turn, &taken, *out);
    cJSON_AddNullToObject(*out, "turn");
    return list_taken(txn->sql, ask, &taken, cJSON_AddArrayToObject(*out, "spectra"));
}
