/* What staff do with printers. */
#include <stdio.h>
#include <string.h>

#include "acts.h"
#include "base/bytes.h"
#include "base/id.h"
#include "convert.h"
#include "ipp.h"
#include "places/places.h"
#include "raw.h"

enum { BEHIND_MOST = 1000 };

/* A printer's row as it shall be. */
struct wanted {
    char name[64];
    char uri[512];
    char place[WP_PLACE_ROOM];
    char where[96];
    char paper[16];
    char language[16];
    int64_t behind_most;
    bool forget_certificate;
};

/* Takes a text member if there is one; `*status` keeps the first failure. */
static void take_text(const struct wp_ask *ask, const char *member, char *out, size_t room,
                      enum wp_status *status, struct wp_error *error)
{
    const char *text = wp_ask_text(ask, member);
    if (text == NULL || *status)
        return;
    if (strlen(text) >= room)
        *status = wp_fail(error, WP_INVALID, "%s is longer than %zu bytes.", member, room - 1);
    else
        wp_text_clean(text, strlen(text), out, room);
}

static enum wp_status check_uri(const struct wanted *wanted, struct wp_error *error)
{
    char host[256];
    char port[8];
    bool raw = strncmp(wanted->uri, "socket:", 7) == 0;
    if (raw && !wp_raw_uri(wanted->uri, host, port))
        return wp_fail(error, WP_INVALID, "The address does not look like socket://host:9100.");
    if (!raw && strcmp(wanted->language, "pdf") != 0)
        return wp_fail(error, WP_INVALID, "Only printers at socket: take another language.");
    return raw ? WP_OK : wp_ipp_check_uri(wanted->uri, error);
}

static enum wp_status check(struct wanted *wanted, struct wp_error *error)
{
    if (wanted->name[0] == '\0')
        return wp_fail(error, WP_INVALID, "A printer needs a name.");
    if (strcmp(wanted->paper, "a4") != 0 && strcmp(wanted->paper, "letter") != 0)
        return wp_fail(error, WP_INVALID, "Paper is a4 or letter.");
    if (!wp_convert_knows(wanted->language))
        return wp_fail(error, WP_INVALID, "Language is pdf, postscript or pcl.");
    if (wanted->behind_most < 0 || wanted->behind_most > BEHIND_MOST)
        return wp_fail(error, WP_INVALID, "behind_most is 0 to %d.", BEHIND_MOST);
    char place[WP_PLACE_ROOM];
    enum wp_status status = wp_place_tidy(wanted->place, place, error);
    if (status)
        return status;
    memcpy(wanted->place, place, sizeof place);
    return check_uri(wanted, error);
}

static enum wp_status take(const struct wp_ask *ask, struct wanted *wanted, struct wp_error *error)
{
    enum wp_status status = WP_OK;
    take_text(ask, "name", wanted->name, sizeof wanted->name, &status, error);
    take_text(ask, "uri", wanted->uri, sizeof wanted->uri, &status, error);
    take_text(ask, "place", wanted->place, sizeof wanted->place, &status, error);
    take_text(ask, "where", wanted->where, sizeof wanted->where, &status, error);
    take_text(ask, "paper", wanted->paper, sizeof wanted->paper, &status, error);
    take_text(ask, "language", wanted->language, sizeof wanted->language, &status, error);
    (void)wp_ask_int(ask, "behind_most", &wanted->behind_most);
    wanted->forget_certificate = wp_ask_flag(ask, "forget_certificate");
    return status ? status : check(wanted, error);
}

static enum wp_status name_taken(enum wp_status status, struct wp_error *error)
{
    return status == WP_CONSTRAINT
               ? wp_fail(error, WP_CONFLICT, "There is a printer of that name already.")
               : status;
}

enum wp_status wp_printer_act_add(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                  struct wp_error *error)
{
    struct wanted wanted = {.paper = "a4", .language = "pdf", .behind_most = 10};
    enum wp_status status = take(ask, &wanted, error);
    if (status)
        return status;
    int64_t id = wp_id_next();
    status = wp_sql_run(txn->sql,
                        "INSERT INTO printer (id, name, uri, place, where_text, paper, language,"
                        " behind_most, created_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                        "ittttttii", id, wanted.name, wanted.uri, wanted.place, wanted.where,
                        wanted.paper, wanted.language, wanted.behind_most, txn->now);
    if (!status)
        status = wp_ask_record(txn, ask, "printer-add", "printer", id, wanted.uri);
    return status ? name_taken(status, error) : wp_printer_json(txn->sql, id, out, error);
}

static void copy_column(char *out, size_t room, struct wp_rows *rows, int column)
{
    snprintf(out, room, "%s", wp_rows_text(rows, column));
}

static enum wp_status read_printer(struct wp_txn *txn, int64_t id, struct wanted *wanted,
                                   struct wp_error *error)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        txn->sql, &rows,
        "SELECT name, uri, place, where_text, paper, language, behind_most FROM printer"
        " WHERE id = ? AND retired_us IS NULL",
        "i", id);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        copy_column(wanted->name, sizeof wanted->name, &rows, 0);
        copy_column(wanted->uri, sizeof wanted->uri, &rows, 1);
        copy_column(wanted->place, sizeof wanted->place, &rows, 2);
        copy_column(wanted->where, sizeof wanted->where, &rows, 3);
        copy_column(wanted->paper, sizeof wanted->paper, &rows, 4);
        copy_column(wanted->language, sizeof wanted->language, &rows, 5);
        wanted->behind_most = wp_rows_int(&rows, 6);
    }
    status = wp_rows_end(&rows);
    if (status)
        return status;
    return found ? WP_OK : wp_fail(error, WP_NOT_FOUND, "There is no such printer.");
}

static enum wp_status has_sheets(struct wp_txn *txn, int64_t id, struct wp_error *error)
{
    int64_t sheets = 0;
    enum wp_status status = wp_sql_int(txn->sql, &sheets,
                                       "SELECT COUNT(*) FROM delivery WHERE printer_id = ?"
                                       " AND state IN ('sending', 'printing', 'uncertain')",
                                       "i", id);
    if (!status && sheets > 0)
        return wp_fail(error, WP_CONFLICT, "The printer still has %d sheets of ours.", (int)sheets);
    return status;
}

enum wp_status wp_printer_act_change(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error)
{
    int64_t id;
    struct wanted wanted = {0};
    enum wp_status status = wp_ask_id(ask, &id, error);
    if (!status)
        status = read_printer(txn, id, &wanted, error);
    if (status)
        return status;
    char uri_before[sizeof wanted.uri];
    memcpy(uri_before, wanted.uri, sizeof uri_before);
    status = take(ask, &wanted, error);
    /* Sheets that are there could not be asked after at another address. */
    bool moved = !status && strcmp(uri_before, wanted.uri) != 0;
    if (moved)
        status = has_sheets(txn, id, error);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "UPDATE printer SET name = ?, uri = ?, place = ?, where_text = ?,"
                            " paper = ?, language = ?, behind_most = ?, certificate ="
                            " CASE WHEN ? THEN '' ELSE certificate END, changed_us = ?"
                            " WHERE id = ?",
                            "ttttttiiii", wanted.name, wanted.uri, wanted.place, wanted.where,
                            wanted.paper, wanted.language, wanted.behind_most,
                            (int64_t)(moved || wanted.forget_certificate), txn->now, id);
    if (!status)
        status = wp_ask_record(txn, ask, "printer-change", "printer", id, wanted.uri);
    return status ? name_taken(status, error) : wp_printer_json(txn->sql, id, out, error);
}

static enum wp_status set_mode(struct wp_txn *txn, const struct wp_ask *ask, const char *mode,
                               cJSON **out, struct wp_error *error)
{
    int64_t id;
    char reason[200] = "";
    enum wp_status status = wp_ask_id(ask, &id, error);
    if (status)
        return status;
    take_text(ask, "reason", reason, sizeof reason, &status, error);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "UPDATE printer SET mode = ?, mode_reason = ?, changed_us = ?"
                            " WHERE id = ? AND retired_us IS NULL",
                            "ttii", mode, reason, txn->now, id);
    if (status)
        return status;
    if (wp_sql_changes(txn->sql) == 0)
        return wp_fail(error, WP_NOT_FOUND, "There is no such printer.");
    status = wp_ask_record(txn, ask, "printer-mode", "printer", id, mode);
    return status ? status : wp_printer_json(txn->sql, id, out, error);
}

enum wp_status wp_printer_act_pause(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error)
{
    return set_mode(txn, ask, "paused", out, error);
}

enum wp_status wp_printer_act_drain(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error)
{
    return set_mode(txn, ask, "draining", out, error);
}

enum wp_status wp_printer_act_resume(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error)
{
    return set_mode(txn, ask, "on", out, error);
}

enum wp_status wp_printer_act_remove(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error)
{
    int64_t id;
    struct wanted wanted = {0};
    *out = NULL;
    enum wp_status status = wp_ask_id(ask, &id, error);
    if (!status)
        status = read_printer(txn, id, &wanted, error);
    if (!status)
        status = has_sheets(txn, id, error);
    /* The row stays for old deliveries; its name becomes free. */
    if (!status)
        status = wp_sql_run(txn->sql,
                            "UPDATE printer SET retired_us = ?, name = name || ' (removed ' || id"
                            " || ')' WHERE id = ?",
                            "ii", txn->now, id);
    return status ? status : wp_ask_record(txn, ask, "printer-remove", "printer", id, wanted.uri);
}
