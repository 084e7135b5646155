/* The verbs that show a list: a table for people, or the answer itself with --json. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "set_up.h"

#define COLUMNS 8

static const struct list {
    const char *verb;
    const char *path;
    const char *rows; /* the member that holds them */
    const char *none; /* what an empty list says */
    const char *members[COLUMNS];
    const char *headings[COLUMNS];
} lists[] = {
    {"fleet",
     "/api/v1/fleet",
     "instruments",
     "There is no instrument.",
     {"name", "state", "place", "last_spectrum_us", "printer", "printer_state", NULL},
     {"instrument", "state", "place", "last spectrum", "printer", "", NULL}},
    {"classes",
     "/api/v1/classes",
     "classes",
     "No class is near.",
     {"course", "code", "starts_us", "ends_us", "text", NULL},
     {"course", "section", "begins", "ends", "instruments", NULL}},
    {"unclaimed",
     "/api/v1/unclaimed",
     "measurements",
     "Every spectrum has its person.",
     {"accession", "measured_us", "instrument", "section", "sample", "verdict", NULL},
     {"number", "measured", "instrument", "section", "sample", "verdict", NULL}},
    {"notices",
     "/api/v1/notices",
     "notices",
     "Nothing to look at.",
     {"at_us", "instrument", "measurement", "path", "text", NULL},
     {"since", "instrument", "number", "file", "notice", NULL}},
    {"unread",
     "/api/v1/unread",
     "objects",
     "Every file could be read.",
     {"received_us", "instrument", "path", "line", "text", NULL},
     {"came", "instrument", "file", "line", "reason", NULL}},
    {"deliveries",
     "/api/v1/deliveries",
     "deliveries",
     "No sheet is or was on its way.",
     {"created_us", "kind", "accession", "state", "printer_name", "reason", NULL},
     {"since", "kind", "number", "state", "printer", "reason", NULL}},
    {"ledger",
     "/api/v1/ledger",
     "entries",
     "The ledger is empty.",
     {"number", "at_us", "actor", "actor_id", "verb", "subject", NULL},
     {"number", "at", "actor", "id", "did", "to", NULL}},
    {"instrument",
     "/api/v1/instruments",
     "instruments",
     "There is no instrument.",
     {"name", "place", "preparation", "plates", "first_printer", "second_printer", "agents", NULL},
     {"instrument", "place", "preparation", "plates", "first printer", "second", "agents", NULL}},
    {"printer",
     "/api/v1/printers",
     "printers",
     "There is no printer.",
     {"name", "mode", "state", "reasons", "place", "where", "uri", NULL},
     {"printer", "mode", "state", "reasons", "place", "where", "address", NULL}},
};

/* Like enum wp_actor. */
static const char *const actors[] = {"gateway", "person", "agent", "bench", "command"};

static void name_actors(cJSON *rows)
{
    cJSON *row = NULL;
    cJSON_ArrayForEach(row, rows)
    {
        double number = cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(row, "actor"));
        for (size_t i = 0; i < sizeof actors / sizeof actors[0]; i++)
            if ((double)i == number)
                cJSON_ReplaceItemInObjectCaseSensitive(row, "actor", cJSON_CreateString(actors[i]));
    }
}

static void print_rows(const struct list *list, cJSON *rows)
{
    cJSON *heading = cJSON_CreateObject();
    if (cJSON_GetArraySize(rows) && heading) {
        for (size_t i = 0; list->members[i]; i++)
            cJSON_AddStringToObject(heading, list->members[i], list->headings[i]);
        cJSON_InsertItemInArray(rows, 0, heading);
    } else {
        cJSON_Delete(heading);
    }
    wp_print_table(rows, list->members, list->none);
}

static int print_check(const cJSON *answer)
{
    bool sound = cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(answer, "sound"));
    char checked[32];
    wp_member_words(answer, "checked", checked, sizeof checked);
    if (sound)
        printf("The chain is whole: %s entries checked.\n", checked);
    else
        printf("The chain is BROKEN after %s entries.\n", checked);
    return sound ? WP_EXIT_DONE : WP_EXIT_FAILED;
}

static int show(struct set_up *set_up, const struct list *list)
{
    cJSON *answer = NULL;
    char path[64];
    bool check = !strcmp(list->verb, "ledger") && wp_words_value(&set_up->words, "check");
    (void)snprintf(path, sizeof path, "%s%s", list->path, check ? "?check=1" : "");
    int code = wp_set_up_call(set_up, "GET", path, &answer);
    cJSON *rows = cJSON_GetObjectItemCaseSensitive(answer, list->rows);
    if (code) {
        cJSON_Delete(answer);
        return code;
    }
    if (wp_words_value(&set_up->words, "json")) {
        char *text = cJSON_Print(answer);
        puts(text ? text : "");
        free(text);
    } else if (check) {
        code = print_check(answer);
    } else {
        if (!strcmp(list->verb, "ledger"))
            name_actors(rows);
        print_rows(list, rows);
    }
    cJSON_Delete(answer);
    return code;
}

int wp_set_up_list(struct set_up *set_up)
{
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++)
        if (!strcmp(lists[i].verb, set_up->verb))
            return show(set_up, &lists[i]);
    return -1;
}
