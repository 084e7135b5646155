/* The verbs that set a gateway up: each is one request of the JSON API. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "set_up.h"

/* Options that become members of the request as text, number or flag. */
enum kind { TEXT, NUMBER, FLAG, LIST };
static const struct {
    const char *option;
    const char *member;
    enum kind kind;
} members[] = {
    {"place", "place", TEXT},
    {"public-url", "public_url", TEXT},
    {"first-printer", "first_printer", TEXT},
    {"second-printer", "second_printer", TEXT},
    {"preparation", "preparation", TEXT},
    {"plates", "plates", TEXT},
    {"accessory", "accessory", TEXT},
    {"name-pattern", "name_pattern", TEXT},
    {"how-to-export", "how_to_export", TEXT},
    {"cleaning-solvent", "cleaning_solvent", TEXT},
    {"solvents", "solvents", TEXT},
    {"uri", "uri", TEXT},
    {"where", "where", TEXT},
    {"paper", "paper", TEXT},
    {"language", "language", TEXT},
    {"given", "given", TEXT},
    {"family", "family", TEXT},
    {"email", "email", TEXT},
    {"alias", "alias", TEXT},
    {"title", "title", TEXT},
    {"course", "course", TEXT},
    {"section", "section", TEXT},
    {"printing", "printing", TEXT},
    {"mailing", "mailing", TEXT},
    {"y-axis", "y_axis", TEXT},
    {"x-scale", "x_scale", TEXT},
    {"pages-a-day", "pages_a_day", NUMBER},
    {"expected", "expected", NUMBER},
    {"has-oh", "has_oh", FLAG},
    {"technique", "technique", TEXT},
    {"number", "number", TEXT},
    {"to", "move_to", TEXT},
    {"term", "term", TEXT},
    {"first", "first", TEXT},
    {"last", "last", TEXT},
    {"weekday", "weekday", TEXT},
    {"day", "day", TEXT},
    {"from", "from", TEXT},
    {"until", "until", TEXT},
    {"moved-to", "moved_to", TEXT},
    {"weekly", "weekly", NUMBER},
    {"undo", "undo", FLAG},
    {"starts", "starts", TEXT},
    {"ends", "ends", TEXT},
    {"role", "roles", LIST},
    {"sample", "samples", LIST},
    {"dry-run", "dry_run", FLAG},
    {"reason", "reason", TEXT},
    {"confirm", "confirm", TEXT},
    {"spectra", "spectra", TEXT},
    {"instrument", "instrument_name", TEXT},
    {"with", "with", TEXT},
};
#define MEMBERS (sizeof members / sizeof members[0])
#define OTHERS 5 /* options that are no members */
#define WORDS_MOST 3

static void make_options(struct wp_option options[MEMBERS + OTHERS + 1])
{
    memset(options, 0, (MEMBERS + OTHERS + 1) * sizeof options[0]);
    for (size_t i = 0; i < MEMBERS; i++) {
        options[i].name = members[i].option;
        options[i].flag = members[i].kind == FLAG;
    }
    options[MEMBERS].name = "data";
    options[MEMBERS + 1] = (struct wp_option){"check", true, NULL};
    options[MEMBERS + 2] = (struct wp_option){"password-stdin", true, NULL};
    options[MEMBERS + 3].name = "as";
    options[MEMBERS + 4] = (struct wp_option){"json", true, NULL};
}

/* --sample and --role may stand several times, so they are gathered from the command line itself.
 */
static cJSON *gather(int argc, char **argv, const char *option)
{
    cJSON *list = cJSON_CreateArray();
    size_t length = strlen(option);
    for (int i = 2; i < argc; i++) {
        if (strncmp(argv[i], "--", 2) != 0 || strncmp(argv[i] + 2, option, length) != 0)
            continue;
        if (argv[i][2 + length] == '=')
            cJSON_AddItemToArray(list, cJSON_CreateString(argv[i] + 3 + length));
        else if (!argv[i][2 + length] && i + 1 < argc)
            cJSON_AddItemToArray(list, cJSON_CreateString(argv[i + 1]));
    }
    return list;
}

static bool fill_body(struct set_up *set_up, int argc, char **argv)
{
    set_up->body = cJSON_CreateObject();
    for (size_t i = 0; i < MEMBERS; i++) {
        const char *value = wp_words_value(&set_up->words, members[i].option);
        char *end = NULL;
        if (!value)
            continue;
        switch (members[i].kind) {
        case TEXT:
            cJSON_AddStringToObject(set_up->body, members[i].member, value);
            break;
        case NUMBER:
            cJSON_AddNumberToObject(set_up->body, members[i].member, strtod(value, &end));
            if (!*value || *end)
                return false;
            break;
        case FLAG:
            cJSON_AddTrueToObject(set_up->body, members[i].member);
            break;
        case LIST:
            cJSON_AddItemToObject(set_up->body, members[i].member,
                                  gather(argc, argv, members[i].option));
            break;
        }
    }
    return true;
}

int wp_set_up_call(struct set_up *set_up, const char *method, const char *path, cJSON **answer)
{
    bool change = strcmp(method, "GET") != 0;
    int code = wp_cli_call(set_up->folder, method, path, change ? set_up->body : NULL, answer);
    if (!code && change && !answer) {
        printf("Done: %s", set_up->verb);
        for (size_t i = 0; i < set_up->words.count; i++)
            printf(" %s", set_up->words.words[i]);
        puts("");
    }
    return code;
}

/* The id of the row of a list that has this name. */
int wp_set_up_named(struct set_up *set_up, const char *path, const char *list, const char *name,
                    long long *id)
{
    cJSON *answer = NULL;
    const cJSON *item = NULL;
    int code = wp_set_up_call(set_up, "GET", path, &answer);
    *id = 0;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(answer, list))
    {
        const char *found = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(item, "name"));
        if (found && !strcmp(found, name))
            *id = (long long)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(item, "id"));
    }
    cJSON_Delete(answer);
    return code || *id ? code : wp_cli_fail("there is none of the name \"%s\"", name);
}

static const char *member_text(const cJSON *answer, const char *name)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(answer, name));
    return text ? text : "";
}

static int instrument(struct set_up *set_up)
{
    const char *what = set_up->words.count ? set_up->words.words[0] : "list";
    const char *name = set_up->words.count > 1 ? set_up->words.words[1] : NULL;
    cJSON *answer = NULL;
    char path[128];
    long long id = 0;
    if (!strcmp(what, "list"))
        return wp_set_up_list(set_up);
    if (!name)
        return wp_cli_usage("the instrument's name is missing");
    if (!strcmp(what, "add")) {
        cJSON_AddStringToObject(set_up->body, "name", name);
        int code = wp_set_up_call(set_up, "POST", "/api/v1/instruments", &answer);
        if (!code)
            printf("Instrument \"%s\" is added. On its PC: wavepost-agent join JOINSTRING --watch "
                   "EXPORT_FOLDER --state STATE_FOLDER\nThe join string is good for one PC and 7 "
                   "days: %s\n",
                   name, member_text(answer, "join"));
        cJSON_Delete(answer);
        return code;
    }
    int code = wp_set_up_named(set_up, "/api/v1/instruments", "instruments", name, &id);
    bool bench = !strcmp(what, "bench-code");
    if (code)
        return code;
    if (!strcmp(what, "change")) {
        (void)snprintf(path, sizeof path, "/api/v1/instruments/%lld", id);
        return wp_set_up_call(set_up, "PATCH", path, NULL);
    }
    if (!bench && strcmp(what, "join-code") != 0)
        return wp_cli_usage("an instrument is added, changed, listed, or given a code");
    (void)snprintf(path, sizeof path, "/api/v1/instruments/%lld/%s", id, what);
    code = wp_set_up_call(set_up, "POST", path, &answer);
    if (!code && bench)
        printf("Open %s on the bench's device and type the code %s\n", member_text(answer, "url"),
               member_text(answer, "code"));
    else if (!code)
        printf("%s\n", member_text(answer, "join"));
    cJSON_Delete(answer);
    return code;
}

static int printer(struct set_up *set_up)
{
    const char *what = set_up->words.count ? set_up->words.words[0] : "list";
    const char *name = set_up->words.count > 1 ? set_up->words.words[1] : NULL;
    char path[128];
    long long id = 0;
    if (!strcmp(what, "list"))
        return wp_set_up_list(set_up);
    if (!name)
        return wp_cli_usage("the printer's name is missing");
    if (!strcmp(what, "add")) {
        cJSON_AddStringToObject(set_up->body, "name", name);
        return wp_set_up_call(set_up, "POST", "/api/v1/printers", NULL);
    }
    int code = wp_set_up_named(set_up, "/api/v1/printers", "printers", name, &id);
    if (code)
        return code;
    if (!strcmp(what, "change")) {
        (void)snprintf(path, sizeof path, "/api/v1/printers/%lld", id);
        return wp_set_up_call(set_up, "PATCH", path, NULL);
    }
    static const char *const acts[] = {"pause", "resume", "drain", "remove", NULL};
    for (int i = 0; acts[i]; i++)
        if (!strcmp(acts[i], what)) {
            (void)snprintf(path, sizeof path, "/api/v1/printers/%lld/%s", id, what);
            return wp_set_up_call(set_up, "POST", path, NULL);
        }
    return wp_cli_usage("a printer is added, changed, listed, paused, resumed, drained or removed");
}

static int run(struct set_up *set_up)
{
    if (!strcmp(set_up->verb, "instrument"))
        return instrument(set_up);
    if (!strcmp(set_up->verb, "printer"))
        return printer(set_up);
    if (!strcmp(set_up->verb, "roster"))
        return wp_set_up_roster(set_up);
    int code = wp_set_up_removal(set_up);
    if (code < 0)
        code = wp_set_up_turn(set_up);
    if (code < 0)
        code = wp_set_up_courses(set_up);
    if (code < 0)
        code = wp_set_up_timetable(set_up);
    return code < 0 ? wp_set_up_list(set_up) : code;
}

int wp_cli_set_up(int argc, char **argv)
{
    struct wp_option options[MEMBERS + OTHERS + 1];
    const char *words[WORDS_MOST];
    struct set_up set_up = {.verb = argv[1], .words = {.options = options, .words = words}};
    make_options(options);
    if (!wp_words_parse(argc, argv, 2, &set_up.words, WORDS_MOST))
        return WP_EXIT_USAGE;
    set_up.folder = wp_words_value(&set_up.words, "data");
    if (!set_up.folder)
        set_up.folder = getenv("WAVEPOST_DATA");
    if (!set_up.folder)
        return wp_cli_usage("the gateway's data folder is missing: --data DIR");
    const char *as = wp_words_value(&set_up.words, "as");
    if (as)
        (void)setenv("WAVEPOST_AS", as, 1);
    int code =
        fill_body(&set_up, argc, argv) ? run(&set_up) : wp_cli_usage("an option needs a number");
    cJSON_Delete(set_up.body);
    return code;
}
