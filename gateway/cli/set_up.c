/* The verbs that set a gateway up: each is one request of the JSON API. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"

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
    {"starts", "starts", TEXT},
    {"ends", "ends", TEXT},
    {"role", "roles", LIST},
    {"sample", "samples", LIST},
    {"dry-run", "dry_run", FLAG},
    {"reason", "reason", TEXT},
};
#define MEMBERS (sizeof members / sizeof members[0])
#define WORDS_MOST 3

struct set_up {
    const char *verb;
    const char *folder;
    struct wp_words words;
    cJSON *body;
    bool failed;
};

static void make_options(struct wp_option options[MEMBERS + 4])
{
    memset(options, 0, (MEMBERS + 4) * sizeof options[0]);
    for (size_t i = 0; i < MEMBERS; i++) {
        options[i].name = members[i].option;
        options[i].flag = members[i].kind == FLAG;
    }
    options[MEMBERS].name = "data";
    options[MEMBERS + 1] = (struct wp_option){"check", true, NULL};
    options[MEMBERS + 2] = (struct wp_option){"password-stdin", true, NULL};
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

static int call(struct set_up *set_up, const char *method, const char *path, cJSON **answer)
{
    bool body = strcmp(method, "GET") != 0;
    return wp_cli_call(set_up->folder, method, path, body ? set_up->body : NULL, answer);
}

static int call_and_print(struct set_up *set_up, const char *method, const char *path)
{
    cJSON *answer = NULL;
    int code = call(set_up, method, path, &answer);
    char *text = answer ? cJSON_Print(answer) : NULL;
    if (text)
        puts(text);
    free(text);
    cJSON_Delete(answer);
    return code;
}

/* The id of the row of a list that has this name. */
static int find_named(struct set_up *set_up, const char *path, const char *list, const char *name,
                      long long *id)
{
    cJSON *answer = NULL;
    const cJSON *item = NULL;
    int code = call(set_up, "GET", path, &answer);
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
        return call_and_print(set_up, "GET", "/api/v1/instruments");
    if (!name)
        return wp_cli_usage("the instrument's name is missing");
    if (!strcmp(what, "add")) {
        cJSON_AddStringToObject(set_up->body, "name", name);
        int code = call(set_up, "POST", "/api/v1/instruments", &answer);
        if (!code)
            printf("Instrument \"%s\" is added. On its PC: wavepost-agent join JOINSTRING --watch "
                   "EXPORT_FOLDER --state STATE_FOLDER\nThe join string is good for one PC and 7 "
                   "days: %s\n",
                   name, member_text(answer, "join"));
        cJSON_Delete(answer);
        return code;
    }
    int code = find_named(set_up, "/api/v1/instruments", "instruments", name, &id);
    bool bench = !strcmp(what, "bench-code");
    if (code)
        return code;
    if (!strcmp(what, "change")) {
        (void)snprintf(path, sizeof path, "/api/v1/instruments/%lld", id);
        return call(set_up, "PATCH", path, NULL);
    }
    if (!bench && strcmp(what, "join-code") != 0)
        return wp_cli_usage("an instrument is added, changed, listed, or given a code");
    (void)snprintf(path, sizeof path, "/api/v1/instruments/%lld/%s", id, what);
    code = call(set_up, "POST", path, &answer);
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
        return call_and_print(set_up, "GET", "/api/v1/printers");
    if (!name)
        return wp_cli_usage("the printer's name is missing");
    if (!strcmp(what, "add")) {
        cJSON_AddStringToObject(set_up->body, "name", name);
        return call(set_up, "POST", "/api/v1/printers", NULL);
    }
    int code = find_named(set_up, "/api/v1/printers", "printers", name, &id);
    if (code)
        return code;
    if (!strcmp(what, "change")) {
        (void)snprintf(path, sizeof path, "/api/v1/printers/%lld", id);
        return call(set_up, "PATCH", path, NULL);
    }
    static const char *const acts[] = {"pause", "resume", "drain", "remove", NULL};
    for (int i = 0; acts[i]; i++)
        if (!strcmp(acts[i], what)) {
            (void)snprintf(path, sizeof path, "/api/v1/printers/%lld/%s", id, what);
            return call(set_up, "POST", path, NULL);
        }
    return wp_cli_usage("a printer is added, changed, listed, paused, resumed, drained or removed");
}

/* A password comes on standard input, never on the command line, where others can read it. */
static int person(struct set_up *set_up)
{
    char password[256];
    if (wp_words_value(&set_up->words, "password-stdin")) {
        if (!fgets(password, sizeof password, stdin))
            return wp_cli_fail("no password came on standard input");
        password[strcspn(password, "\r\n")] = '\0';
        cJSON_AddStringToObject(set_up->body, "password", password);
    }
    return call(set_up, "POST", "/api/v1/people", NULL);
}

static int roster(struct set_up *set_up)
{
    struct wp_bytes bytes = {0};
    struct wp_error error = {0};
    cJSON *answer = NULL;
    if (!set_up->words.count)
        return wp_cli_usage("the roster's file is missing");
    if (wp_cli_load(set_up->words.words[0], (size_t)2 << 20, &bytes, &error))
        return wp_cli_fail("%s: %s", set_up->words.words[0], error.text);
    cJSON_AddStringToObject(set_up->body, "csv", bytes.data ? bytes.data : "");
    wp_bytes_release(&bytes);
    int code = call(set_up, "POST", "/api/v1/roster", &answer);
    const cJSON *bad = NULL, *errors = cJSON_GetObjectItemCaseSensitive(answer, "errors");
    cJSON_ArrayForEach(bad, errors)
    {
        code = wp_cli_fail("%s:%d: %s", set_up->words.words[0],
                           (int)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(bad, "line")),
                           member_text(bad, "text"));
    }
    if (answer)
        printf("%d added, %d changed, %d left, %d as before; %s\n",
               cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(answer, "added")),
               cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(answer, "changed")),
               cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(answer, "left")),
               (int)cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(answer, "same")),
               cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(answer, "applied"))
                   ? "applied"
                   : "nothing was changed");
    cJSON_Delete(answer);
    return code;
}

/* "course add CODE" and its like: the word after "add" becomes a member. */
static int add(struct set_up *set_up, const char *path, const char *member)
{
    if (!set_up->words.count || strcmp(set_up->words.words[0], "add") != 0)
        return wp_cli_usage("only \"add\" can be done here; it changes what is there already");
    if (member && set_up->words.count < 2)
        return wp_cli_usage("a word is missing after \"add\"");
    if (member)
        cJSON_AddStringToObject(set_up->body, member, set_up->words.words[1]);
    return !strcmp(set_up->verb, "person") ? person(set_up) : call(set_up, "POST", path, NULL);
}

static int run(struct set_up *set_up)
{
    static const struct {
        const char *verb, *path, *member;
    } adds[] = {
        {"person", "/api/v1/people", "login"},      {"course", "/api/v1/courses", "code"},
        {"section", "/api/v1/sections", "section"}, {"experiment", "/api/v1/experiments", "code"},
        {"meeting", "/api/v1/meetings", NULL},      {"staff", "/api/v1/staff", "login"},
    };
    static const char *const lists[] = {"fleet",  "unclaimed",  "notices",
                                        "unread", "deliveries", NULL};
    char path[64];
    if (!strcmp(set_up->verb, "instrument"))
        return instrument(set_up);
    if (!strcmp(set_up->verb, "printer"))
        return printer(set_up);
    if (!strcmp(set_up->verb, "roster"))
        return roster(set_up);
    for (size_t i = 0; i < sizeof adds / sizeof adds[0]; i++)
        if (!strcmp(adds[i].verb, set_up->verb))
            return add(set_up, adds[i].path, adds[i].member);
    for (int i = 0; lists[i]; i++)
        if (!strcmp(lists[i], set_up->verb)) {
            (void)snprintf(path, sizeof path, "/api/v1/%s", lists[i]);
            return call_and_print(set_up, "GET", path);
        }
    return call_and_print(set_up, "GET",
                          wp_words_value(&set_up->words, "check") ? "/api/v1/ledger?check=1"
                                                                  : "/api/v1/ledger");
}

int wp_cli_set_up(int argc, char **argv)
{
    struct wp_option options[MEMBERS + 4];
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
    int code =
        fill_body(&set_up, argc, argv) ? run(&set_up) : wp_cli_usage("an option needs a number");
    cJSON_Delete(set_up.body);
    return code;
}
