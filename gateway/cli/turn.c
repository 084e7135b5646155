/* "turn add": a turn that nobody signed on for, entered afterwards. */
#include <stdio.h>
#include <string.h>

#include "set_up.h"

static int add_person(struct set_up *set_up, cJSON *persons, const char *login)
{
    long long id = 0;
    int code = wp_set_up_person(set_up, login, &id);
    if (!code)
        cJSON_AddItemToArray(persons, cJSON_CreateNumber((double)id));
    return code;
}

static int fill(struct set_up *set_up, const char *login)
{
    const char *name = wp_words_value(&set_up->words, "instrument");
    const char *with = wp_words_value(&set_up->words, "with");
    long long instrument = 0, section = 0;
    cJSON *persons = cJSON_CreateArray();
    int code =
        name ? wp_set_up_named(set_up, "/api/v1/instruments", "instruments", name, &instrument)
             : wp_cli_usage("--instrument NAME is missing");
    if (!code)
        code = wp_set_up_section(set_up, &section);
    if (!code)
        code = add_person(set_up, persons, login);
    if (!code && with)
        code = add_person(set_up, persons, with);
    /* The API wants ids where the command has names. */
    cJSON_DeleteItemFromObjectCaseSensitive(set_up->body, "section");
    cJSON_AddNumberToObject(set_up->body, "section", (double)section);
    cJSON_AddNumberToObject(set_up->body, "instrument", (double)instrument);
    cJSON_AddItemToObject(set_up->body, "persons", persons);
    return code;
}

/* Samples may be several for an experiment; a turn has one. */
static void one_sample(struct set_up *set_up)
{
    const char *sample = wp_words_value(&set_up->words, "sample");
    cJSON_DeleteItemFromObjectCaseSensitive(set_up->body, "samples");
    if (sample)
        cJSON_AddStringToObject(set_up->body, "sample", sample);
}

static void report(const cJSON *answer, bool dry)
{
    const cJSON *one = NULL;
    int count = cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(answer, "restamped"));
    printf(dry ? "It would take over %d spectr%s" : "Entered; it took over %d spectr%s", count,
           count == 1 ? "um" : "a");
    const char *before = ": ";
    cJSON_ArrayForEach(one, cJSON_GetObjectItemCaseSensitive(answer, "spectra"))
    {
        char text[64];
        wp_member_words(one, "accession", text, sizeof text);
        printf("%s%s", before, text);
        before = ", ";
    }
    puts(".");
}

int wp_set_up_turn(struct set_up *set_up)
{
    cJSON *answer = NULL;
    if (strcmp(set_up->verb, "turn") != 0)
        return -1;
    if (set_up->words.count != 2 || strcmp(set_up->words.words[0], "add") != 0)
        return wp_cli_usage("turn add LOGIN --instrument NAME --course C --section S --starts TIME "
                            "--ends TIME [--with LOGIN] [--sample T] [--dry-run]");
    one_sample(set_up);
    int code = fill(set_up, set_up->words.words[1]);
    if (!code)
        code = wp_set_up_call(set_up, "POST", "/api/v1/turns", &answer);
    if (!code)
        report(answer, wp_words_value(&set_up->words, "dry-run") != NULL);
    cJSON_Delete(answer);
    return code;
}
