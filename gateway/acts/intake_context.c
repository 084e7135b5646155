#include <stdio.h>
#include <string.h>

#include "acts/intake.h"
#include "intake_parts.h"
#include "people/turns.h"

/* Splits "acetone, dichloromethane" in place; the context points into intake->solvents. */
static void list_solvents(struct wp_intake *intake)
{
    char *save = NULL;
    for (char *name = strtok_r(intake->solvents, ",", &save);
         name && intake->context.solvent_count < WP_SOLVENTS_MOST;
         name = strtok_r(NULL, ",", &save)) {
        while (*name == ' ')
            name++;
        if (*name)
            intake->context.solvents[intake->context.solvent_count++] = name;
    }
}

static enum wp_status lab_settings(struct wp_sql *sql, int64_t instrument, struct wp_intake *intake)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT preparation, plates, cleaning_solvent, solvents, lab_resolution, "
                     "lab_scans, lab_low, lab_high FROM instrument WHERE id = ?",
                     "i", instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        struct wp_context *context = &intake->context;
        (void)wp_preparation_parse(wp_rows_text(&rows, 0), &context->preparation);
        (void)wp_plates_parse(wp_rows_text(&rows, 1), &context->plates);
        (void)snprintf(intake->solvent, sizeof intake->solvent, "%s", wp_rows_text(&rows, 2));
        (void)snprintf(intake->solvents, sizeof intake->solvents, "%s", wp_rows_text(&rows, 3));
        context->cleaning_solvent = intake->solvent[0] ? intake->solvent : NULL;
        context->lab_resolution = wp_rows_double(&rows, 4);
        context->lab_scans = (int)wp_rows_int(&rows, 5);
        context->lab_low = wp_rows_double(&rows, 6);
        context->lab_high = wp_rows_double(&rows, 7);
        list_solvents(intake);
    }
    return wp_rows_end(&rows);
}

static enum wp_status turn_settings(struct wp_sql *sql, int64_t instrument,
                                    struct wp_intake *intake)
{
    struct wp_turn turn;
    enum wp_status status = wp_turn_current(sql, instrument, &turn);
    if (status)
        return status == WP_NOT_FOUND ? WP_OK : status;
    (void)wp_kind_parse(turn.kind, &intake->context.kind);
    if (turn.preparation[0])
        (void)wp_preparation_parse(turn.preparation, &intake->context.preparation);
    if (turn.plates[0])
        (void)wp_plates_parse(turn.plates, &intake->context.plates);
    int64_t has_oh = 0;
    status = wp_sql_int(sql, &has_oh, "SELECT has_oh FROM experiment WHERE id = ?", "i",
                        turn.experiment);
    intake->context.product_has_oh = has_oh != 0;
    return status == WP_NOT_FOUND ? WP_OK : status;
}

enum wp_status wp_intake_who(struct wp_sql *sql, int64_t now, struct wp_intake *intake,
                             struct wp_who *who, int64_t *instrument)
{
    enum wp_status status = wp_who_resolve(sql, now, &intake->proof, who);
    if (status)
        return status;
    if (who->actor == WP_ACTOR_AGENT) {
        *instrument = who->instrument;
        return WP_OK;
    }
    const unsigned hands = WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_INSTRUCTOR;
    if (!intake->brought_by || !(who->roles & hands) || who->id != intake->brought_by)
        return wp_fail(&intake->error, WP_DENIED, "Only an instrument's agent or staff may send.");
    *instrument = intake->instrument;
    return WP_OK;
}

enum wp_status wp_intake_context(struct wp_sql *sql, void *job)
{
    struct wp_intake *intake = job;
    struct wp_who who;
    int64_t instrument = 0;
    memset(&intake->context, 0, sizeof intake->context);
    enum wp_status status = wp_intake_who(sql, wp_clock_utc(), intake, &who, &instrument);
    if (!status)
        status = lab_settings(sql, instrument, intake);
    /* A file from a stick was measured in another turn than the one that is open now. */
    if (!status && intake->brought_by)
        return WP_OK;
    return status ? status : turn_settings(sql, instrument, intake);
}
