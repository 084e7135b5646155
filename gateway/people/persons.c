#include "people/persons.h"

#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "base/id.h"
#include "people/timetable.h"

bool wp_typed_ok(const char *text, size_t most, bool may_be_empty)
{
    size_t size = text ? strlen(text) : 0;
    if (!text || size > most || (!size && !may_be_empty) || !wp_utf8_valid(text, size))
        return false;
    for (const char *c = text; *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7F)
            return false;
    return true;
}

static bool login_ok(const char *login)
{
    size_t size = login ? strlen(login) : 0;
    return size > 0 && size <= 64 &&
           strspn(login, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-@") ==
               size;
}

/* One "@" with something on both sides, no blanks: whether mail arrives only mailing can tell. */
static bool email_ok(const char *email)
{
    const char *at = strchr(email, '@');
    return !*email || (wp_typed_ok(email, 254, false) && at && at != email && at[1] &&
                       !strchr(at + 1, '@') && !strpbrk(email, " <>,;:\"\\()[]"));
}

enum wp_status wp_person_find(struct wp_sql *sql, const char *login, int64_t *id)
{
    return wp_sql_int(sql, id,
                      "SELECT id FROM person WHERE lower(login) = lower(?) AND erased_us IS NULL",
                      "t", login);
}

static enum wp_status check_person(const struct wp_person *person, struct wp_error *error)
{
    if (!login_ok(person->login))
        return wp_fail(error, WP_INVALID,
                       "A sign-in name is 1 to 64 letters, digits, dots, hyphens, underscores.");
    if ((person->given && !wp_typed_ok(person->given, WP_NAME_MOST, true)) ||
        (person->family && !wp_typed_ok(person->family, WP_NAME_MOST, true)))
        return wp_fail(error, WP_INVALID,
                       "A given or family name is plain text of at most %d bytes.", WP_NAME_MOST);
    if (person->given && person->family && !*person->given && !*person->family)
        return wp_fail(error, WP_INVALID, "A person needs a given or a family name.");
    if (person->email && !email_ok(person->email))
        return wp_fail(error, WP_INVALID, "This is not a mail address.");
    if (person->alias && !wp_typed_ok(person->alias, 64, true))
        return wp_fail(error, WP_INVALID, "An alias is at most 64 bytes of plain text.");
    return WP_OK;
}

static const char *or_empty(const char *text)
{
    return text ? text : "";
}

static enum wp_status change_person(struct wp_txn *txn, const struct wp_person *person,
                                    struct wp_error *error)
{
    int64_t named = 0;
    enum wp_status status =
        wp_sql_run(txn->sql,
                   "UPDATE person SET given = coalesce(?, given), family = coalesce(?, family), "
                   "email = coalesce(?, email), alias = coalesce(?, alias), "
                   "roles = CASE WHEN ?5 THEN roles ELSE ?6 END WHERE id = ?7",
                   "ttttiii", person->given, person->family, person->email, person->alias,
                   (int64_t)person->roles_stay, (int64_t)person->roles, person->id);
    if (!status)
        status = wp_sql_int(txn->sql, &named,
                            "SELECT given <> '' OR family <> '' FROM person "
                            "WHERE id = ?",
                            "i", person->id);
    return status || named ? status
                           : wp_fail(error, WP_INVALID, "A person needs a given or a family name.");
}

enum wp_status wp_person_put(struct wp_txn *txn, struct wp_person *person, struct wp_error *error)
{
    enum wp_status status = check_person(person, error);
    if (!status)
        status = wp_person_find(txn->sql, person->login, &person->id);
    if (status == WP_OK)
        return change_person(txn, person, error);
    if (status != WP_NOT_FOUND || (error && error->status))
        return status;
    if ((!person->given || !*person->given) && (!person->family || !*person->family))
        return wp_fail(error, WP_INVALID, "A person needs a given or a family name.");
    person->id = wp_id_next();
    return wp_sql_run(txn->sql,
                      "INSERT INTO person (id, login, given, family, email, alias, roles, "
                      "created_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                      "itttttii", person->id, person->login, or_empty(person->given),
                      or_empty(person->family), person->email ? person->email : "",
                      person->alias ? person->alias : "", (int64_t)person->roles, txn->now);
}

enum wp_status wp_person_set_password(struct wp_txn *txn, int64_t person, const char *hash)
{
    return wp_sql_run(txn->sql, "UPDATE person SET password_hash = ? WHERE id = ?", "ti", hash,
                      person);
}

/* One text of one person's row. */
static enum wp_status read_text(struct wp_sql *sql, const char *query, int64_t person, char *text,
                                size_t room)
{
    struct wp_rows rows;
    text[0] = '\0';
    enum wp_status status = wp_sql_query(sql, &rows, query, "i", person);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found)
        (void)snprintf(text, room, "%s", wp_rows_text(&rows, 0));
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

enum wp_status wp_person_name(struct wp_sql *sql, int64_t person, char *text, size_t room)
{
    return read_text(sql, "SELECT trim(given || ' ' || family) FROM person WHERE id = ?", person,
                     text, room);
}

enum wp_status wp_person_email(struct wp_sql *sql, int64_t person, char *text, size_t room)
{
    return read_text(sql, "SELECT email FROM person WHERE id = ? AND erased_us IS NULL", person,
                     text, room);
}

/* A member of the body that must be one of a few words; NULL if absent. */
static bool one_of(const char *text, const char *const words[], struct wp_error *error,
                   const char *member)
{
    if (!text)
        return true;
    for (size_t i = 0; words[i]; i++)
        if (!strcmp(words[i], text))
            return true;
    (void)wp_fail(error, WP_INVALID, "\"%s\" cannot be \"%.40s\".", member, text);
    return false;
}

/* A flag of the body: 1 or 0, -1 if nothing is said of it. */
static int64_t said(const struct wp_ask *ask, const char *name)
{
    return cJSON_HasObjectItem(ask->body, name) ? (int64_t)wp_ask_flag(ask, name) : -1;
}

enum wp_status wp_put_fits(const struct wp_ask *ask, enum wp_status found, const char *what,
                           const char *name, struct wp_error *error)
{
    int64_t change = said(ask, "change");
    if (found && found != WP_NOT_FOUND)
        return found;
    if (change == 0 && !found)
        return wp_fail(error, WP_CONFLICT, "There is %s \"%.64s\" already.", what, name);
    if (change == 1 && found)
        return wp_fail(error, WP_NOT_FOUND, "There is no %s \"%.64s\".", strchr(what, ' ') + 1,
                       name);
    return WP_OK;
}

static enum wp_status course_named(struct wp_sql *sql, const char *code, int64_t *id,
                                   struct wp_error *error)
{
    enum wp_status status =
        wp_sql_int(sql, id, "SELECT id FROM course WHERE code = ?", "t", code ? code : "");
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "There is no course \"%.64s\".", code ? code : "");
    return status;
}

enum wp_status wp_course_put(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                             struct wp_error *error)
{
    static const char *const axes[] = {"transmittance", "absorbance", NULL};
    static const char *const scales[] = {"even", "half", NULL};
    static const char *const printings[] = {"ask", "at-once", "inbox", NULL};
    static const char *const mailings[] = {"none", "digest", "each", "link", NULL};
    const char *code = wp_ask_text(ask, "code"), *title = wp_ask_text(ask, "title");
    const char *axis = wp_ask_text(ask, "y_axis"), *printing = wp_ask_text(ask, "printing");
    const char *mailing = wp_ask_text(ask, "mailing"), *scale = wp_ask_text(ask, "x_scale");
    int64_t pages = -1;
    if (!wp_typed_ok(code, 32, false) || (title && !wp_typed_ok(title, 200, true)))
        return wp_fail(error, WP_INVALID,
                       "A course needs a code of 1 to 32 bytes; its title has at most 200.");
    if (!one_of(axis, axes, error, "y_axis") || !one_of(printing, printings, error, "printing") ||
        !one_of(mailing, mailings, error, "mailing") || !one_of(scale, scales, error, "x_scale"))
        return WP_INVALID;
    if (!wp_ask_int_within(ask, "pages_a_day", 0, 1000, &pages))
        return wp_fail(error, WP_INVALID, "Pages a day are a whole number, 0 (no limit) to 1000.");
    enum wp_status status = wp_put_fits(
        ask, wp_sql_int(txn->sql, id, "SELECT id FROM course WHERE code = ?", "t", code),
        "a course", code, error);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO course (id, code, title, created_us) VALUES (?, ?, ?, ?) "
                            "ON CONFLICT (code) DO NOTHING",
                            "itti", wp_id_next(), code, title ? title : code, txn->now);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "UPDATE course SET title = coalesce(?, title), "
                            "y_axis = coalesce(?, y_axis), printing = coalesce(?, printing), "
                            "mailing = coalesce(?, mailing), "
                            "pages_a_day = CASE WHEN ?5 < 0 THEN pages_a_day ELSE ?5 END, "
                            "x_scale = coalesce(?6, x_scale) WHERE code = ?7",
                            "ttttitt", title, axis, printing, mailing, pages, scale, code);
    return status ? status : course_named(txn->sql, code, id, error);
}

enum wp_status wp_section_named(struct wp_sql *sql, const struct wp_ask *ask, int64_t *id,
                                struct wp_error *error)
{
    int64_t course = 0;
    const char *code = wp_ask_text(ask, "section");
    enum wp_status status = course_named(sql, wp_ask_text(ask, "course"), &course, error);
    if (status)
        return status;
    status = wp_sql_int(sql, id, "SELECT id FROM section WHERE course_id = ? AND code = ?", "it",
                        course, code ? code : "");
    if (status == WP_NOT_FOUND)
        return wp_fail(error, status, "There is no section \"%.64s\" in this course.",
                       code ? code : "");
    return status;
}

/* The term a section belongs to ("": none), and whether it has ended. */
static enum wp_status section_times(struct wp_txn *txn, const struct wp_ask *ask, int64_t section,
                                    struct wp_error *error)
{
    const char *code = wp_ask_text(ask, "term");
    int64_t term = 0;
    enum wp_status status = WP_OK;
    if (cJSON_HasObjectItem(ask->body, "ended"))
        status = wp_sql_run(txn->sql,
                            "UPDATE section SET ended_us = CASE WHEN ? THEN coalesce(ended_us, ?) "
                            "END WHERE id = ?",
                            "iii", (int64_t)wp_ask_flag(ask, "ended"), txn->now, section);
    if (status || !code)
        return status;
    if (*code)
        status = wp_term_named(txn->sql, code, &term, error);
    if (!status)
        status = wp_sql_run(txn->sql, "UPDATE section SET term_id = nullif(?, 0) WHERE id = ?",
                            "ii", term, section);
    if (!status)
        status = wp_timetable_refresh(txn, section, 0, error);
    /* One that is over already ends this section too. */
    if (!status)
        status = wp_sql_run(txn->sql, "UPDATE term SET ended_us = NULL WHERE id = ?", "i", term);
    return status ? status : wp_terms_end(txn, &(int64_t){0});
}

enum wp_status wp_section_put(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                              struct wp_error *error)
{
    const char *code = wp_ask_text(ask, "section"), *title = wp_ask_text(ask, "title");
    const char *place = wp_ask_text(ask, "place");
    int64_t course = 0;
    if (!wp_typed_ok(code, 32, false) || (title && !wp_typed_ok(title, 200, true)) ||
        (place && !wp_typed_ok(place, 255, true)))
        return wp_fail(error, WP_INVALID,
                       "A section needs a code of 1 to 32 bytes; its title has at most 200, its "
                       "place at most 255.");
    enum wp_status status = course_named(txn->sql, wp_ask_text(ask, "course"), &course, error);
    if (!status)
        status = wp_put_fits(ask,
                             wp_sql_int(txn->sql, id,
                                        "SELECT id FROM section WHERE course_id = ? AND code = ?",
                                        "it", course, code),
                             "a section", code, error);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO section (id, course_id, code, created_us) "
                            "VALUES (?, ?, ?, ?) ON CONFLICT (course_id, code) DO NOTHING",
                            "iiti", wp_id_next(), course, code, txn->now);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "UPDATE section SET title = coalesce(?, title), "
                            "place = coalesce(?, place) WHERE course_id = ? AND code = ?",
                            "ttit", title, place, course, code);
    if (!status)
        status = wp_section_named(txn->sql, ask, id, error);
    return status ? status : section_times(txn, ask, *id, error);
}

static enum wp_status put_samples(struct wp_txn *txn, int64_t experiment, const cJSON *samples,
                                  struct wp_error *error)
{
    enum wp_status status = wp_sql_run(
        txn->sql, "DELETE FROM experiment_sample WHERE experiment_id = ?", "i", experiment);
    int64_t position = 0;
    const cJSON *sample = NULL;
    cJSON_ArrayForEach(sample, samples)
    {
        const char *name = cJSON_GetStringValue(sample);
        if (!wp_typed_ok(name, 100, false) || position >= 200)
            return wp_fail(error, WP_INVALID, "A sample name is 1 to 100 bytes; at most 200.");
        if (!status)
            status = wp_sql_run(txn->sql,
                                "INSERT INTO experiment_sample (experiment_id, position, name) "
                                "VALUES (?, ?, ?)",
                                "iit", experiment, position++, name);
    }
    return status;
}

enum wp_status wp_experiment_put(struct wp_txn *txn, const struct wp_ask *ask, int64_t *id,
                                 struct wp_error *error)
{
    static const char *const techniques[] = {"infrared", "raman", "uv-vis", "other", NULL};
    const char *code = wp_ask_text(ask, "code"), *title = wp_ask_text(ask, "title");
    const char *technique = wp_ask_text(ask, "technique");
    const char *preparation = wp_ask_text(ask, "preparation"), *plates = wp_ask_text(ask, "plates");
    int64_t course = 0, expected = -1;
    if (!wp_typed_ok(code, 32, false) || (title && !wp_typed_ok(title, 200, true)))
        return wp_fail(error, WP_INVALID,
                       "An experiment needs a code of 1 to 32 bytes; its title has at most 200.");
    if (!one_of(technique, techniques, error, "technique"))
        return WP_INVALID;
    if ((preparation && !wp_typed_ok(preparation, 23, true)) ||
        (plates && !wp_typed_ok(plates, 15, true)))
        return wp_fail(error, WP_INVALID, "\"preparation\" or \"plates\" is too long.");
    if (!wp_ask_int_within(ask, "expected", 0, 100, &expected))
        return wp_fail(error, WP_INVALID,
                       "Spectra expected are a whole number, 0 (no number) to 100.");
    enum wp_status status = course_named(txn->sql, wp_ask_text(ask, "course"), &course, error);
    if (!status)
        status = wp_put_fits(
            ask,
            wp_sql_int(txn->sql, id, "SELECT id FROM experiment WHERE course_id = ? AND code = ?",
                       "it", course, code),
            "an experiment", code, error);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO experiment (id, course_id, code, title) VALUES (?, ?, ?, "
                            "?) ON CONFLICT (course_id, code) DO NOTHING",
                            "iitt", wp_id_next(), course, code, title ? title : code);
    if (!status)
        status = wp_sql_run(
            txn->sql,
            "UPDATE experiment SET title = coalesce(?, title), technique = coalesce(?, technique), "
            "expected = CASE WHEN ?3 < 0 THEN expected ELSE ?3 END, "
            "preparation = coalesce(?4, preparation), plates = coalesce(?5, plates), "
            "has_oh = CASE WHEN ?6 < 0 THEN has_oh ELSE ?6 END, "
            "ended_us = CASE ?7 WHEN -1 THEN ended_us WHEN 0 THEN NULL ELSE "
            "coalesce(ended_us, ?8) END WHERE course_id = ?9 AND code = ?10",
            "ttittiiiit", title, technique, expected, preparation, plates, said(ask, "has_oh"),
            said(ask, "ended"), txn->now, course, code);
    if (!status)
        status =
            wp_sql_int(txn->sql, id, "SELECT id FROM experiment WHERE course_id = ? AND code = ?",
                       "it", course, code);
    const cJSON *samples = cJSON_GetObjectItemCaseSensitive(ask->body, "samples");
    if (!status && cJSON_IsArray(samples))
        status = put_samples(txn, *id, samples, error);
    return status;
}

enum wp_status wp_enrol(struct wp_txn *txn, int64_t section, int64_t person, const char *number)
{
    return wp_sql_run(txn->sql,
                      "INSERT INTO enrolled (section_id, person_id, number, from_us) "
                      "VALUES (?, ?, coalesce(?, ''), ?) ON CONFLICT (section_id, person_id) DO "
                      "UPDATE SET number = coalesce(?3, number), to_us = NULL",
                      "iiti", section, person, number, txn->now);
}

enum wp_status wp_enrolment_move(struct wp_txn *txn, int64_t from, int64_t to, int64_t person)
{
    enum wp_status status = wp_sql_run(
        txn->sql,
        "INSERT INTO enrolled (section_id, person_id, number, card_hash, pin_hash, from_us) "
        "SELECT ?, person_id, number, card_hash, pin_hash, ? FROM enrolled WHERE section_id = ? "
        "AND person_id = ? ON CONFLICT (section_id, person_id) DO UPDATE SET number = "
        "excluded.number, card_hash = excluded.card_hash, pin_hash = excluded.pin_hash, "
        "to_us = NULL",
        "iiii", to, txn->now, from, person);
    return status ? status : wp_unenrol(txn, from, person);
}

enum wp_status wp_unenrol(struct wp_txn *txn, int64_t section, int64_t person)
{
    return wp_sql_run(txn->sql,
                      "UPDATE enrolled SET to_us = ? WHERE section_id = ? AND person_id = ? AND "
                      "to_us IS NULL",
                      "iii", txn->now, section, person);
}

enum wp_status wp_staff_put(struct wp_txn *txn, int64_t section, int64_t person, unsigned roles)
{
    if (!roles)
        return wp_sql_run(txn->sql,
                          "DELETE FROM section_staff WHERE section_id = ? AND person_id = ?", "ii",
                          section, person);
    return wp_sql_run(txn->sql,
                      "INSERT INTO section_staff (section_id, person_id, roles) VALUES (?, ?, ?) "
                      "ON CONFLICT (section_id, person_id) DO UPDATE SET roles = excluded.roles",
                      "iii", section, person, (int64_t)roles);
}
