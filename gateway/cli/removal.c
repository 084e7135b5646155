/* The verbs that cannot be taken back: "remove" a spectrum or a file, "erase" a person. Without
 * --confirm they only say what would go. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "set_up.h"

static long long number_of(const cJSON *answer, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(answer, name);
    return cJSON_IsNumber(item) ? (long long)item->valuedouble : 0;
}

/* One request; a dry run where nothing was confirmed. */
static int ask(struct set_up *set_up, const char *path, bool *done, cJSON **answer)
{
    *done = wp_words_value(&set_up->words, "confirm") != NULL &&
            !wp_words_value(&set_up->words, "dry-run");
    if (!*done)
        cJSON_AddTrueToObject(set_up->body, "dry_run");
    return wp_set_up_call(set_up, "POST", path, answer);
}

static void say_how(const char *verb, const char *what, const char *confirm)
{
    printf("Nothing was changed. To do it, and it cannot be taken back:\n"
           "  wavepost %s %s --confirm %s --reason \"why\"\n",
           verb, what, confirm);
}

/* A number, or an object's digest. */
static bool is_digest(const char *word)
{
    return strlen(word) == 64 && strspn(word, "0123456789abcdef") == 64;
}

static int remove_file(struct set_up *set_up, const char *digest)
{
    char path[128], start[9];
    bool done = false;
    (void)snprintf(path, sizeof path, "/api/v1/objects/%s/remove", digest);
    (void)snprintf(start, sizeof start, "%.8s", digest);
    int code = ask(set_up, path, &done, NULL);
    if (!code && done)
        puts("The file is removed.");
    else if (!code)
        say_how("remove", digest, start);
    return code;
}

static int remove_spectrum(struct set_up *set_up, const char *accession)
{
    char path[128], kept[400];
    cJSON *answer = NULL;
    bool done = false;
    (void)snprintf(path, sizeof path, "/api/v1/find?accession=%.32s", accession);
    int code = wp_set_up_call(set_up, "GET", path, &answer);
    long long id = number_of(answer, "measurement");
    bool gone = cJSON_GetObjectItemCaseSensitive(answer, "removed") != NULL;
    cJSON_Delete(answer);
    answer = NULL;
    if (code)
        return code;
    if (gone)
        return wp_cli_fail("it was removed already");
    (void)snprintf(path, sizeof path, "/api/v1/measurements/%lld/remove", id);
    code = ask(set_up, path, &done, &answer);
    wp_member_words(answer, "kept", kept, sizeof kept);
    if (!code)
        printf("Spectrum %s %s removed, with the bytes of %lld file%s.\n", accession,
               done ? "is" : "would be", number_of(answer, "files"),
               number_of(answer, "files") == 1 ? "" : "s");
    if (!code && kept[0])
        printf("These keep a file of it: %s\n", kept);
    if (!code && !done)
        say_how("remove", accession, accession);
    cJSON_Delete(answer);
    return code;
}

/* ---- a person ---- */

static long long id_of_login(const cJSON *answer, const char *login)
{
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(answer, "people"))
    {
        const char *found = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(item, "login"));
        if (found && !strcasecmp(found, login))
            return number_of(item, "id");
    }
    return 0;
}

static void report(const cJSON *answer, const char *login, bool done)
{
    char named[2000];
    wp_member_words(answer, "named", named, sizeof named);
    printf("%s %s erased: of %lld spectra %lld %s without a name, %lld %s with others, %lld %s "
           "removed.\n",
           login, done ? "is" : "would be", number_of(answer, "spectra"), number_of(answer, "kept"),
           done ? "stay" : "would stay", number_of(answer, "shared"), done ? "stay" : "would stay",
           number_of(answer, "removed"), done ? "are" : "would be");
    if (named[0])
        printf("Removed because the file itself holds the name: %s\n", named);
}

int wp_set_up_person(struct set_up *set_up, const char *login, long long *id)
{
    char path[256];
    cJSON *answer = NULL;
    if (strspn(login, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-@") !=
            strlen(login) ||
        strlen(login) > 64)
        return wp_cli_usage("this is no sign-in name");
    (void)snprintf(path, sizeof path, "/api/v1/people?q=%s", login);
    int code = wp_set_up_call(set_up, "GET", path, &answer);
    *id = id_of_login(answer, login);
    cJSON_Delete(answer);
    return code || *id ? code : wp_cli_fail("there is no person \"%s\"", login);
}

static int erase(struct set_up *set_up, const char *login)
{
    char path[128];
    cJSON *answer = NULL;
    bool done = false;
    long long id = 0;
    int code = wp_set_up_person(set_up, login, &id);
    if (code)
        return code;
    (void)snprintf(path, sizeof path, "/api/v1/people/%lld/erase", id);
    code = ask(set_up, path, &done, &answer);
    if (!code)
        report(answer, login, done);
    if (!code && !done)
        say_how("erase", login, login);
    cJSON_Delete(answer);
    return code;
}

int wp_set_up_removal(struct set_up *set_up)
{
    bool person = !strcmp(set_up->verb, "erase");
    if (!person && strcmp(set_up->verb, "remove") != 0)
        return -1;
    if (set_up->words.count != 1)
        return wp_cli_usage(person ? "the sign-in name is missing"
                                   : "the spectrum's number, or the file's digest, is missing");
    const char *word = set_up->words.words[0];
    if (person)
        return erase(set_up, word);
    return is_digest(word) ? remove_file(set_up, word) : remove_spectrum(set_up, word);
}
