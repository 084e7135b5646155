/* The verbs of people and courses: persons, courses, sections, experiments, staff, students. */
#include <stdio.h>
#include <string.h>

#include "set_up.h"

static const char *word(const struct set_up *set_up, size_t at)
{
    return set_up->words.count > at ? set_up->words.words[at] : NULL;
}

static bool is(const char *what, const char *text)
{
    return !strcmp(what, text);
}

/* ---- lists ---- */

static const char *text_of(const cJSON *row, const char *name)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(row, name));
    return text ? text : "";
}

/* The course of --course; NULL, with a message, if there is none. */
static const cJSON *course_of(const struct set_up *set_up, const cJSON *answer)
{
    const char *code = wp_words_value(&set_up->words, "course");
    const cJSON *course = NULL;
    cJSON_ArrayForEach(course, cJSON_GetObjectItemCaseSensitive(answer, "courses"))
    {
        if (code && is(text_of(course, "code"), code))
            return course;
    }
    (void)wp_cli_fail(code ? "there is no course \"%s\"" : "--course is missing%s",
                      code ? code : "");
    return NULL;
}

/* What ended says so in a column of its own. */
static void say_ended(const cJSON *rows)
{
    cJSON *row = NULL;
    cJSON_ArrayForEach(row, rows)
    {
        cJSON_AddStringToObject(
            row, "state",
            cJSON_IsNumber(cJSON_GetObjectItemCaseSensitive(row, "ended_us")) ? "ended" : "");
    }
}

static int list_courses(struct set_up *set_up)
{
    static const char *const courses[] = {"code", "title", "printing", "mailing", NULL};
    static const char *const sections[] = {"code",  "term",  "place", "students",
                                           "title", "state", NULL};
    static const char *const experiments[] = {"code",  "technique", "expected", "preparation",
                                              "title", "samples",   "state",    NULL};
    cJSON *answer = NULL;
    int code = wp_set_up_call(set_up, "GET", "/api/v1/courses", &answer);
    const cJSON *course = NULL;
    if (!code && is(set_up->verb, "course"))
        wp_print_table(cJSON_GetObjectItemCaseSensitive(answer, "courses"), courses,
                       "There is no course.");
    else if (!code && !(course = course_of(set_up, answer)))
        code = WP_EXIT_FAILED;
    if (course) {
        bool parts = is(set_up->verb, "section");
        const cJSON *rows =
            cJSON_GetObjectItemCaseSensitive(course, parts ? "sections" : "experiments");
        say_ended(rows);
        wp_print_table(rows, parts ? sections : experiments, "There is none.");
    }
    cJSON_Delete(answer);
    return code;
}

static const cJSON *section_of(const struct set_up *set_up, const cJSON *answer)
{
    const char *code = wp_words_value(&set_up->words, "section");
    const cJSON *course = course_of(set_up, answer), *section = NULL;
    if (!course)
        return NULL;
    cJSON_ArrayForEach(section, cJSON_GetObjectItemCaseSensitive(course, "sections"))
    {
        if (code && is(text_of(section, "code"), code))
            return section;
    }
    (void)wp_cli_fail(code ? "there is no section \"%s\" in this course" : "--section is missing%s",
                      code ? code : "");
    return NULL;
}

int wp_set_up_section(struct set_up *set_up, long long *id)
{
    cJSON *answer = NULL;
    int code = wp_set_up_call(set_up, "GET", "/api/v1/courses", &answer);
    const cJSON *section = code ? NULL : section_of(set_up, answer);
    if (section)
        *id = (long long)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(section, "id"));
    else if (!code)
        code = WP_EXIT_FAILED;
    cJSON_Delete(answer);
    return code;
}

static int list_staff(struct set_up *set_up)
{
    static const struct {
        int bit;
        const char *name;
    } roles[] = {{2, "demonstrator"}, {4, "instructor"}, {8, "marker"}};
    static const char *const columns[] = {"login", "name", "held", NULL};
    cJSON *answer = NULL, *person = NULL;
    int code = wp_set_up_call(set_up, "GET", "/api/v1/courses", &answer);
    const cJSON *section = code ? NULL : section_of(set_up, answer);
    const cJSON *staff = cJSON_GetObjectItemCaseSensitive(section, "staff");
    cJSON_ArrayForEach(person, staff)
    {
        int bits = (int)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(person, "roles"));
        cJSON *held = cJSON_AddArrayToObject(person, "held");
        for (int i = 0; i < 3; i++)
            if (bits & roles[i].bit)
                cJSON_AddItemToArray(held, cJSON_CreateString(roles[i].name));
    }
    if (section)
        wp_print_table(staff, columns, "Nobody.");
    cJSON_Delete(answer);
    return code ? code : section ? WP_EXIT_DONE : WP_EXIT_FAILED;
}

static int list_people(struct set_up *set_up)
{
    static const char *const columns[] = {"login", "family", "given", "email", "roles", NULL};
    const char *part = word(set_up, 1);
    char path[512] = "/api/v1/people?q=";
    size_t used = strlen(path);
    for (; part && *part && used + 4 < sizeof path; part++)
        used += (size_t)snprintf(path + used, sizeof path - used, "%%%02X",
                                 (unsigned)(unsigned char)*part);
    cJSON *answer = NULL;
    int code = wp_set_up_call(set_up, "GET", path, &answer);
    if (!code)
        wp_print_table(cJSON_GetObjectItemCaseSensitive(answer, "people"), columns, "Nobody fits.");
    cJSON_Delete(answer);
    return code;
}

/* ---- changes ---- */

/* A password comes on standard input, never on the command line, where others can read it. */
static int put_person(struct set_up *set_up)
{
    char password[256];
    if (wp_words_value(&set_up->words, "password-stdin")) {
        if (!fgets(password, sizeof password, stdin))
            return wp_cli_fail("no password came on standard input");
        password[strcspn(password, "\r\n")] = '\0';
        cJSON_AddStringToObject(set_up->body, "password", password);
    }
    return wp_set_up_call(set_up, "POST", "/api/v1/people", NULL);
}

static int student(struct set_up *set_up, const char *what)
{
    if (is(what, "move") && !wp_words_value(&set_up->words, "to"))
        return wp_cli_usage("--to SECTION is missing");
    if (is(what, "leave"))
        cJSON_AddTrueToObject(set_up->body, "left");
    else if (!is(what, "add") && !is(what, "move"))
        return wp_cli_usage("a student is added to a section, leaves it, or moves to another");
    return wp_set_up_call(set_up, "POST", "/api/v1/enrolments", NULL);
}

static int staff(struct set_up *set_up, const char *what)
{
    if (is(what, "remove"))
        cJSON_AddItemToObject(set_up->body, "roles", cJSON_CreateArray());
    else if (!wp_words_value(&set_up->words, "role"))
        return wp_cli_usage("--role instructor, demonstrator or marker is missing");
    return wp_set_up_call(set_up, "POST", "/api/v1/staff", NULL);
}

static const struct noun {
    const char *verb, *path, *member;
    const char *const *acts; /* beside list */
} nouns[] = {
    {"person", "/api/v1/people", "login", (const char *const[]){"add", "change", NULL}},
    {"course", "/api/v1/courses", "code", (const char *const[]){"add", "change", NULL}},
    {"section", "/api/v1/sections", "section",
     (const char *const[]){"add", "change", "end", "reopen", NULL}},
    {"experiment", "/api/v1/experiments", "code",
     (const char *const[]){"add", "change", "end", "reopen", NULL}},
    {"staff", "/api/v1/staff", "login", (const char *const[]){"add", "change", "remove", NULL}},
    {"student", NULL, "login", (const char *const[]){"add", "leave", "move", NULL}},
};

static int usage(const struct noun *noun)
{
    char text[200];
    size_t used = (size_t)snprintf(text, sizeof text, "%s ", noun->verb);
    for (int i = 0; noun->acts[i]; i++)
        used += (size_t)snprintf(text + used, sizeof text - used, "%s|", noun->acts[i]);
    (void)snprintf(text + used, sizeof text - used, "list is what can be done");
    return wp_cli_usage(text);
}

static int list(struct set_up *set_up)
{
    if (is(set_up->verb, "person"))
        return list_people(set_up);
    if (is(set_up->verb, "staff"))
        return list_staff(set_up);
    if (is(set_up->verb, "student"))
        return wp_set_up_roster(set_up);
    return list_courses(set_up);
}

static int change(struct set_up *set_up, const struct noun *noun, const char *what)
{
    int known = 0;
    while (noun->acts[known] && !is(noun->acts[known], what))
        known++;
    if (!noun->acts[known])
        return usage(noun);
    if (!word(set_up, 1))
        return wp_cli_usage("a word is missing: whom or which?");
    cJSON_AddStringToObject(set_up->body, noun->member, word(set_up, 1));
    if (noun->path)
        cJSON_AddBoolToObject(set_up->body, "change", !is(what, "add"));
    if (is(what, "end") || is(what, "reopen"))
        cJSON_AddBoolToObject(set_up->body, "ended", is(what, "end"));
    if (is(noun->verb, "person"))
        return put_person(set_up);
    if (is(noun->verb, "student"))
        return student(set_up, what);
    if (is(noun->verb, "staff"))
        return staff(set_up, what);
    return wp_set_up_call(set_up, "POST", noun->path, NULL);
}

int wp_set_up_courses(struct set_up *set_up)
{
    const char *what = word(set_up, 0) ? word(set_up, 0) : "list";
    for (size_t i = 0; i < sizeof nouns / sizeof nouns[0]; i++)
        if (is(nouns[i].verb, set_up->verb))
            return is(what, "list") ? list(set_up) : change(set_up, &nouns[i], what);
    return -1;
}
