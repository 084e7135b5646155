#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/setup_acts.h"
#include "base/bytes.h"
#include "people/persons.h"

/* A roster is CSV (RFC 4180; comma or semicolon) with a header row naming the columns, in any
 * order: login, given, family, email, number, alias. login is needed, and one of given and family.
 */
#define COLUMNS 6
#define LINES_MOST 5000
#define FIELD_MOST 300

static const char *const columns[COLUMNS] = {"login", "given",  "family",
                                             "email", "number", "alias"};

struct row {
    char field[COLUMNS][FIELD_MOST];
};

struct csv {
    const char *at;
    char separator;
    long line;
};

/* Reads one record into `fields`; false at the end of the text. Quoted fields may hold separators
 * and doubled quotes; a field that is too long ends the reading with `bad`. */
static bool next_record(struct csv *csv, char fields[][FIELD_MOST], size_t most, size_t *count,
                        bool *bad)
{
    *count = 0;
    *bad = false;
    if (!*csv->at)
        return false;
    csv->line++;
    for (bool more = true; more;) {
        char field[FIELD_MOST];
        size_t used = 0;
        bool quoted = *csv->at == '"';
        if (quoted)
            csv->at++;
        while (*csv->at) {
            if (quoted && *csv->at == '"') {
                if (csv->at[1] != '"') {
                    csv->at++;
                    quoted = false;
                    continue;
                }
                csv->at++;
            } else if (!quoted &&
                       (*csv->at == csv->separator || *csv->at == '\n' || *csv->at == '\r')) {
                break;
            }
            if (used + 1 >= sizeof field)
                *bad = true;
            else
                field[used++] = *csv->at;
            csv->at++;
        }
        field[used] = '\0';
        if (*count < most)
            memcpy(fields[(*count)++], field, used + 1);
        more = *csv->at == csv->separator;
        if (more)
            csv->at++;
    }
    if (*csv->at == '\r')
        csv->at++;
    if (*csv->at == '\n')
        csv->at++;
    return true;
}

static void add_error(cJSON *errors, long line, const char *text)
{
    cJSON *item = cJSON_CreateObject();
    cJSON_AddNumberToObject(item, "line", (double)line);
    cJSON_AddStringToObject(item, "text", text);
    cJSON_AddItemToArray(errors, item);
}

static enum wp_status read_header(struct csv *csv, int order[32], size_t *width,
                                  struct wp_error *error)
{
    char fields[32][FIELD_MOST];
    bool bad = false, login = false;
    if (!next_record(csv, fields, 32, width, &bad))
        return wp_fail_at(error, WP_INVALID, 1, 0, "The roster is empty.");
    if (bad)
        return wp_fail_at(error, WP_INVALID, 1, 0,
                          "The first line does not name columns: is this a CSV file?");
    for (size_t i = 0; i < *width; i++) {
        order[i] = -1;
        for (int c = 0; c < COLUMNS; c++)
            if (!strcasecmp(fields[i], columns[c]))
                order[i] = c;
        login = login || order[i] == 0;
    }
    if (!login)
        return wp_fail_at(error, WP_INVALID, 1, 0,
                          "The first line names the columns: login, given, family, email, number, "
                          "alias. \"login\" is missing.");
    return WP_OK;
}

struct import {
    struct wp_txn *txn;
    int64_t section;
    cJSON *added, *changed, *left, *errors;
    int same;
    int64_t *seen;
    size_t seen_count;
};

static enum wp_status compare(struct import *import, const struct row *row, int64_t person,
                              bool *enrolled, bool *same)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        import->txn->sql, &rows,
        "SELECT p.given, p.family, p.email, e.number, e.to_us IS NULL AND e.person_id IS NOT NULL "
        "FROM person p LEFT JOIN enrolled e ON e.person_id = p.id AND e.section_id = ? "
        "WHERE p.id = ?",
        "ii", import->section, person);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        const char *number = wp_rows_text(&rows, 3);
        *enrolled = wp_rows_int(&rows, 4) != 0;
        *same = *enrolled && !strcmp(wp_rows_text(&rows, 0), row->field[1]) &&
                !strcmp(wp_rows_text(&rows, 1), row->field[2]) &&
                (!row->field[3][0] || !strcmp(wp_rows_text(&rows, 2), row->field[3])) &&
                !strcmp(number ? number : "", row->field[4]);
    }
    return wp_rows_end(&rows);
}

static enum wp_status import_row(struct import *import, const struct row *row, long line)
{
    int64_t id = 0;
    bool enrolled = false, same = false;
    struct wp_error error = {0};
    enum wp_status status = wp_person_find(import->txn->sql, row->field[0], &id);
    bool known = status == WP_OK;
    if (status && status != WP_NOT_FOUND)
        return status;
    status = known ? compare(import, row, id, &enrolled, &same) : WP_OK;
    if (status)
        return status;
    for (size_t i = 0; i < import->seen_count; i++)
        if (known && import->seen[i] == id) {
            add_error(import->errors, line, "This sign-in name stands twice in the roster.");
            return WP_OK;
        }
    struct wp_person person = {.login = row->field[0],
                               .given = row->field[1],
                               .family = row->field[2],
                               .email = row->field[3][0] ? row->field[3] : NULL,
                               .alias = row->field[5][0] ? row->field[5] : NULL};
    person.roles_stay = known;
    status = wp_person_put(import->txn, &person, &error);
    if (status == WP_INVALID) {
        add_error(import->errors, line, error.text);
        return WP_OK;
    }
    if (!status)
        status = wp_enrol(import->txn, import->section, person.id, row->field[4]);
    if (status)
        return status;
    import->seen[import->seen_count++] = person.id;
    char text[3 * FIELD_MOST + 16];
    (void)snprintf(text, sizeof text, "%s (%s %s)", row->field[0], row->field[1], row->field[2]);
    if (same)
        import->same++;
    else
        cJSON_AddItemToArray(enrolled ? import->changed : import->added, cJSON_CreateString(text));
    return WP_OK;
}

/* Who is enrolled and not in the new roster has left; what they measured stays theirs. */
static enum wp_status leave(struct import *import)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        import->txn->sql, &rows,
        "SELECT p.id, p.login, p.given, p.family FROM enrolled e JOIN person p "
        "ON p.id = e.person_id WHERE e.section_id = ? AND e.to_us IS NULL ORDER BY p.login",
        "i", import->section);
    int64_t *gone = calloc(LINES_MOST, sizeof *gone);
    size_t count = 0;
    if (status || !gone) {
        free(gone);
        return status ? status : WP_NO_MEMORY;
    }
    while (count < LINES_MOST && wp_rows_next(&rows)) {
        int64_t id = wp_rows_int(&rows, 0);
        bool seen = false;
        for (size_t i = 0; i < import->seen_count && !seen; i++)
            seen = import->seen[i] == id;
        if (seen)
            continue;
        char text[3 * FIELD_MOST + 16];
        (void)snprintf(text, sizeof text, "%s (%s %s)", wp_rows_text(&rows, 1),
                       wp_rows_text(&rows, 2), wp_rows_text(&rows, 3));
        cJSON_AddItemToArray(import->left, cJSON_CreateString(text));
        gone[count++] = id;
    }
    status = wp_rows_end(&rows);
    for (size_t i = 0; !status && i < count; i++)
        status = wp_unenrol(import->txn, import->section, gone[i]);
    free(gone);
    return status;
}

static enum wp_status import_lines(struct import *import, struct csv *csv, struct wp_error *error)
{
    int order[32] = {0};
    size_t width = 0, count = 0;
    char fields[32][FIELD_MOST];
    bool bad = false;
    enum wp_status status = read_header(csv, order, &width, error);
    while (!status && next_record(csv, fields, 32, &count, &bad)) {
        struct row row = {0};
        if (csv->line > LINES_MOST)
            return wp_fail_at(error, WP_TOO_LARGE, csv->line, 0, "A roster has at most %d lines.",
                              LINES_MOST);
        if (count == 1 && !fields[0][0])
            continue;
        if (bad || count != width) {
            add_error(import->errors, csv->line,
                      bad ? "A field is too long." : "The number of fields differs from line 1.");
            continue;
        }
        for (size_t i = 0; i < count; i++)
            if (order[i] >= 0)
                memcpy(row.field[order[i]], fields[i], FIELD_MOST);
        status = import_row(import, &row, csv->line);
    }
    return status;
}

/* Tries everything inside a savepoint; a dry run or a bad line undoes all of it. */
static enum wp_status run(struct import *import, const char *text, bool dry, bool *applied,
                          struct wp_error *error)
{
    /* A byte order mark is not part of the first column's name. */
    if (!strncmp(text, "\xEF\xBB\xBF", 3))
        text += 3;
    struct csv csv = {.at = text};
    size_t first = strcspn(text, "\r\n");
    csv.separator = memchr(text, ';', first) ? ';' : ',';
    enum wp_status status = wp_sql_script(import->txn->sql, "SAVEPOINT roster");
    if (status)
        return status;
    status = import_lines(import, &csv, error);
    if (!status)
        status = leave(import);
    *applied = !status && !dry && !cJSON_GetArraySize(import->errors);
    enum wp_status undone = WP_OK;
    if (!*applied)
        undone = wp_sql_script(import->txn->sql, "ROLLBACK TO roster");
    enum wp_status released = wp_sql_script(import->txn->sql, "RELEASE roster");
    return status ? status : undone ? undone : released;
}

WP_ACT(wp_act_roster)
{
    struct import import = {.txn = txn};
    const char *csv = wp_ask_text(ask, "csv");
    bool applied = false;
    enum wp_status status = wp_section_named(txn->sql, ask, &import.section, error);
    if (status)
        return status;
    if (!csv || !wp_utf8_valid(csv, strlen(csv)))
        return wp_fail(error, WP_INVALID, "\"csv\" is the roster as UTF-8 text.");
    import.seen = calloc(LINES_MOST + 1, sizeof *import.seen);
    *out = cJSON_CreateObject();
    if (!import.seen || !*out) {
        free(import.seen);
        return WP_NO_MEMORY;
    }
    import.added = cJSON_AddArrayToObject(*out, "added");
    import.changed = cJSON_AddArrayToObject(*out, "changed");
    import.left = cJSON_AddArrayToObject(*out, "left");
    import.errors = cJSON_AddArrayToObject(*out, "errors");
    status = run(&import, csv, wp_ask_flag(ask, "dry_run"), &applied, error);
    cJSON_AddNumberToObject(*out, "same", import.same);
    cJSON_AddBoolToObject(*out, "applied", applied);
    free(import.seen);
    if (!status && applied)
        status = wp_ledger_add(txn, ask->who->actor, ask->who->id, "roster", "section", csv, NULL);
    return status;
}
