/* What the dispatcher reads before it decides. */
#include "snapshot.h"

#include <stdio.h>
#include <string.h>

#include "base/clock.h"

static void copy_text(char *out, size_t room, const char *text)
{
    snprintf(out, room, "%s", text != NULL ? text : "");
}

static enum wp_printer_mode read_mode(const char *text)
{
    if (strcmp(text, "paused") == 0)
        return WP_PRINTER_PAUSED;
    return strcmp(text, "draining") == 0 ? WP_PRINTER_DRAINING : WP_PRINTER_ON;
}

static enum wp_status read_printers(struct wp_sql *sql, struct wp_snapshot *snapshot)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT id, name, where_text, place, uri, language, certificate, paper, behind_most, mode"
        " FROM printer WHERE retired_us IS NULL ORDER BY id LIMIT ?",
        "i", (int64_t)WP_PRINTERS_MOST);
    if (status)
        return status;
    snapshot->printer_count = 0;
    while (snapshot->printer_count < WP_PRINTERS_MOST && wp_rows_next(&rows)) {
        struct wp_printer_row *row = &snapshot->printers[snapshot->printer_count++];
        memset(row, 0, sizeof *row);
        row->id = wp_rows_int(&rows, 0);
        copy_text(row->name, sizeof row->name, wp_rows_text(&rows, 1));
        copy_text(row->where, sizeof row->where, wp_rows_text(&rows, 2));
        copy_text(row->place, sizeof row->place, wp_rows_text(&rows, 3));
        copy_text(row->uri, sizeof row->uri, wp_rows_text(&rows, 4));
        copy_text(row->language, sizeof row->language, wp_rows_text(&rows, 5));
        copy_text(row->certificate, sizeof row->certificate, wp_rows_text(&rows, 6));
        row->letter = strcmp(wp_rows_text(&rows, 7), "letter") == 0;
        row->behind_most = (int)wp_rows_int(&rows, 8);
        row->mode = read_mode(wp_rows_text(&rows, 9));
    }
    return wp_rows_end(&rows);
}

static enum wp_status measure_printers(struct wp_sql *sql, struct wp_snapshot *snapshot)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < snapshot->printer_count && !status; i++) {
        struct wp_printer_row *row = &snapshot->printers[i];
        status = wp_place_metres(sql, row->place, &row->measured, &row->x_m, &row->y_m);
    }
    return status;
}

static void read_row(struct wp_rows *rows, struct wp_delivery_row *row)
{
    memset(row, 0, sizeof *row);
    row->id = wp_rows_int(rows, 0);
    row->mail = strcmp(wp_rows_text(rows, 1), "mail") == 0;
    row->measurement = wp_rows_int(rows, 2);
    row->person = wp_rows_int(rows, 3);
    row->instrument = wp_rows_int(rows, 4);
    row->large_print = wp_rows_int(rows, 5) != 0;
    if (!wp_mailing_read(wp_rows_text(rows, 6), &row->mailing))
        row->mailing = WP_MAILING_NONE;
    row->wanted = wp_rows_int(rows, 7);
    row->printer = wp_rows_int(rows, 8);
    if (!wp_delivery_state_read(wp_rows_text(rows, 9), &row->state))
        row->state = WP_DELIVERY_UNCERTAIN;
    copy_text(row->reason, sizeof row->reason, wp_rows_text(rows, 10));
    row->job = (int)wp_rows_int(rows, 11);
    row->in_doubt = wp_rows_int(rows, 12) != 0;
    row->withdraw = (int)wp_rows_int(rows, 13);
    row->attempts = (int)wp_rows_int(rows, 14);
    row->lease_owner = wp_rows_int(rows, 15);
    row->lease_until_us = wp_rows_int(rows, 16);
    row->changed_us = wp_rows_int(rows, 17);
}

#define COLUMNS                                                                                    \
    "SELECT id, kind, measurement_id, person_id, instrument_id, large_print, mailing,"             \
    " wanted_printer_id, printer_id, state, reason, job, in_doubt, withdraw, attempts,"            \
    " lease_owner, lease_until_us, changed_us FROM delivery "

/* Those under way first, so that a long queue cannot hide them. */
static const char *const under_way =
    COLUMNS "WHERE state IN ('sending', 'printing', 'uncertain') ORDER BY changed_us, id LIMIT ?";
static const char *const to_decide =
    COLUMNS "WHERE state IN ('waiting', 'asking') AND due_us <= ? ORDER BY due_us, id LIMIT ?";

static enum wp_status collect(struct wp_rows *rows, struct wp_snapshot *snapshot, size_t most)
{
    while (snapshot->count < most && wp_rows_next(rows))
        read_row(rows, &snapshot->rows[snapshot->count++]);
    return wp_rows_end(rows);
}

static enum wp_status read_deliveries(struct wp_sql *sql, struct wp_snapshot *snapshot)
{
    struct wp_rows rows;
    snapshot->count = 0;
    int64_t room = WP_SNAPSHOT_ROWS / 2;
    enum wp_status status = wp_sql_query(sql, &rows, under_way, "i", room);
    if (!status)
        status = collect(&rows, snapshot, (size_t)room);
    if (status)
        return status;
    room = WP_SNAPSHOT_ROWS - (int64_t)snapshot->count;
    status = wp_sql_query(sql, &rows, to_decide, "ii", snapshot->now, room);
    return status ? status : collect(&rows, snapshot, WP_SNAPSHOT_ROWS);
}

/* An instrument that is not known stands nowhere: every printer is "another room". */
static enum wp_status place_deliveries(struct wp_sql *sql, struct wp_snapshot *snapshot)
{
    for (size_t i = 0; i < snapshot->count; i++) {
        struct wp_delivery_row *row = &snapshot->rows[i];
        if (row->mail)
            continue;
        enum wp_status status = wp_instrument_place_read(sql, row->instrument, &row->from);
        if (status && status != WP_NOT_FOUND)
            return status;
    }
    return WP_OK;
}

enum wp_status wp_snapshot_read(struct wp_sql *sql, void *job)
{
    struct wp_snapshot *snapshot = job;
    snapshot->now = wp_clock_utc();
    snapshot->next_due_us = 0;
    enum wp_status status = read_printers(sql, snapshot);
    if (!status)
        status = measure_printers(sql, snapshot);
    if (!status)
        status = read_deliveries(sql, snapshot);
    if (!status)
        status = place_deliveries(sql, snapshot);
    if (!status)
        status = wp_sql_int(sql, &snapshot->next_due_us,
                            "SELECT MIN(due_us) FROM delivery WHERE state = 'waiting'"
                            " AND due_us > ?",
                            "i", snapshot->now);
    return status;
}
