#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/render.h"
#include "base/sql_words.h"

#define ALL_NAMES WP_SQL_JOINED("trim(p.given || ' ' || p.family)", "', '")

struct booklet {
    struct wp_sql *sql;
    int64_t *ids;
    struct wp_loaded loaded;
    char persons[600];
    char sample[128];
    char accession[WP_ACCESSION_ROOM];
};

static enum wp_status list(struct wp_sql *sql, int64_t section, int64_t experiment, bool all,
                           int64_t *ids, size_t *count)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT m.id FROM measurement m JOIN stamp s ON s.id = m.stamp_id WHERE m.section_id = ?1 "
        "AND m.unclaimed = 0 AND (?2 = 0 OR m.experiment_id = ?2) AND (?3 OR m.counts = 1) "
        "ORDER BY (SELECT min(p.family || ' ' || p.given) FROM owned o JOIN person p ON "
        "p.id = o.person_id WHERE o.measurement_id = m.id), m.id LIMIT ?4",
        "iiii", section, experiment, (int64_t)all, (int64_t)WP_BOOKLET_MOST);
    *count = 0;
    if (status)
        return status;
    while (*count < WP_BOOKLET_MOST && wp_rows_next(&rows))
        ids[(*count)++] = wp_rows_int(&rows, 0);
    return wp_rows_end(&rows);
}

static enum wp_status entry(void *user, size_t index, struct wp_booklet_entry *line)
{
    struct booklet *booklet = user;
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        booklet->sql, &rows,
        "SELECT m.accession, s.sample, coalesce((SELECT " ALL_NAMES
        " FROM owned o JOIN person p ON p.id = o.person_id WHERE "
        "o.measurement_id = m.id), s.guest) FROM measurement m JOIN stamp s ON s.id = m.stamp_id "
        "WHERE m.id = ?",
        "i", booklet->ids[index]);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        wp_accession_format((uint64_t)wp_rows_int(&rows, 0), booklet->accession);
        (void)snprintf(booklet->sample, sizeof booklet->sample, "%s", wp_rows_text(&rows, 1));
        (void)snprintf(booklet->persons, sizeof booklet->persons, "%s", wp_rows_text(&rows, 2));
    }
    *line = (struct wp_booklet_entry){booklet->persons, booklet->sample, booklet->accession};
    return wp_rows_end(&rows);
}

static enum wp_status open_sheet(void *user, size_t index, struct wp_sheet_input *input)
{
    struct booklet *booklet = user;
    enum wp_status status =
        wp_loaded_read(booklet->sql, booklet->ids[index], &booklet->loaded, NULL);
    if (status)
        wp_loaded_release(&booklet->loaded);
    else
        wp_loaded_sheet(&booklet->loaded, input);
    return status;
}

static void close_sheet(void *user, size_t index, struct wp_sheet_input *input)
{
    (void)index;
    (void)input;
    wp_loaded_release(&((struct booklet *)user)->loaded);
}

static enum wp_status name_section(struct wp_sql *sql, int64_t section, char *title, size_t room,
                                   int64_t *course)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT c.code || ', section ' || s.code, c.id FROM section s JOIN course c ON c.id = "
        "s.course_id WHERE s.id = ?",
        "i", section);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        (void)snprintf(title, room, "%s", wp_rows_text(&rows, 0));
        *course = wp_rows_int(&rows, 1);
    }
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

enum wp_status wp_render_booklet(struct wp_sql *sql, struct wp_sheet_fonts *fonts, int64_t section,
                                 int64_t experiment, bool all, wp_sheet_write write,
                                 void *write_user, struct wp_error *error)
{
    struct booklet *booklet = calloc(1, sizeof *booklet);
    int64_t *ids = calloc(WP_BOOKLET_MOST, sizeof *ids);
    char title[200] = "";
    size_t count = 0;
    int64_t course = 0;
    struct wp_sheet_options options = {.paper = wp_sheet_paper(sql)};
    enum wp_status status = booklet && ids ? WP_OK : WP_NO_MEMORY;
    if (!status)
        status = name_section(sql, section, title, sizeof title, &course);
    if (!status)
        status = wp_sheet_course(sql, course, &options);
    if (!status)
        status = list(sql, section, experiment, all, ids, &count);
    if (!status && !count)
        status = wp_fail(error, WP_NOT_FOUND, "There is no sheet to put into the booklet.");
    if (!status) {
        booklet->sql = sql;
        booklet->ids = ids;
        struct wp_booklet pages = {.title = title,
                                   .options = options,
                                   .count = count,
                                   .user = booklet,
                                   .entry = entry,
                                   .open = open_sheet,
                                   .close = close_sheet};
        status = wp_sheet_booklet(fonts, &pages, write, write_user, error);
    }
    free(ids);
    free(booklet);
    return status;
}
