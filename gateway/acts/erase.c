/* A person is erased, or a list of removals done again. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/site.h"
#include "archive/object.h"
#include "base/accession.h"
#include "dispatch/dispatch.h"
#include "people/erasure.h"
#include "removal_parts.h"

#define FILE_MOST ((size_t)64 << 20)

/* ---- does a file say the name? ---- */

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (unsigned char)c >= 0x80;
}

/* The word on its own in the text, whatever its case. `text` ends with a zero byte; a zero byte
 * within is passed over. */
static bool says(const char *text, size_t size, const char *word)
{
    const char *end = text + size;
    size_t length = strlen(word);
    while (text < end) {
        const char *found = strcasestr(text, word);
        for (; found; found = strcasestr(found + 1, word))
            if ((found == text || !is_letter(found[-1])) && !is_letter(found[length]))
                return true;
        text += strlen(text) + 1;
    }
    return false;
}

static bool says_any(const struct wp_bytes *bytes, const struct wp_forgotten *words)
{
    for (size_t i = 0; bytes->data && i < words->count; i++)
        if (says(bytes->data, bytes->size, words->words[i]))
            return true;
    return false;
}

struct digests {
    unsigned char list[64][WP_SHA256_SIZE];
    size_t count;
};

static enum wp_status read_digests(struct wp_sql *sql, int64_t measurement, struct digests *digests)
{
    struct wp_rows rows;
    digests->count = 0;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT DISTINCT sha256 FROM rendition WHERE measurement_id = ?",
                     "i", measurement);
    if (status)
        return status;
    while (digests->count < 64 && wp_rows_next(&rows)) {
        size_t size = 0;
        const void *digest = wp_rows_blob(&rows, 0, &size);
        if (size == WP_SHA256_SIZE)
            memcpy(digests->list[digests->count++], digest, size);
    }
    return wp_rows_end(&rows);
}

/* A file that cannot be read cannot be shown to be free of the name. */
static enum wp_status file_names_them(struct wp_txn *txn, int64_t measurement,
                                      const struct wp_forgotten *words, bool *named)
{
    struct digests digests;
    struct wp_bytes bytes;
    *named = false;
    enum wp_status status = read_digests(txn->sql, measurement, &digests);
    wp_bytes_init(&bytes, FILE_MOST);
    for (size_t i = 0; !status && !*named && i < digests.count; i++) {
        wp_bytes_clear(&bytes);
        enum wp_status got = wp_object_get(txn->sql, wp_site.store, digests.list[i], &bytes, NULL);
        *named = got || says_any(&bytes, words);
        status = got == WP_NO_MEMORY || got == WP_BROKEN ? got : WP_OK;
    }
    wp_bytes_release(&bytes);
    return status;
}

/* ---- what becomes of each spectrum ---- */

struct erasing {
    struct wp_txn *txn;
    struct wp_removal *removal;
    struct wp_forgotten words; /* for texts */
    struct wp_forgotten own;   /* for the person's own files: the family name alone as well */
    int64_t *ids;
    bool *shared;
    bool *gone;
    size_t count;
    size_t kept, shares, removed;
    cJSON *named;
};

static enum wp_status add_family(struct wp_sql *sql, int64_t person, struct wp_forgotten *words)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows, "SELECT family FROM person WHERE id = ?", "i", person);
    if (status)
        return status;
    if (wp_rows_next(&rows) && words->count < WP_FORGOTTEN_WORDS &&
        strlen(wp_rows_text(&rows, 0)) >= 3)
        (void)snprintf(words->words[words->count++], WP_FORGOTTEN_ROOM, "%s",
                       wp_rows_text(&rows, 0));
    return wp_rows_end(&rows);
}

static enum wp_status read_spectra(struct erasing *erasing, int64_t person)
{
    int64_t count = 0;
    struct wp_rows rows;
    enum wp_status status = wp_sql_int(
        erasing->txn->sql, &count, "SELECT count(*) FROM owned WHERE person_id = ?", "i", person);
    if (status)
        return status;
    erasing->ids = calloc((size_t)count + 1, sizeof *erasing->ids);
    erasing->shared = calloc((size_t)count + 1, sizeof *erasing->shared);
    erasing->gone = calloc((size_t)count + 1, sizeof *erasing->gone);
    if (!erasing->ids || !erasing->shared || !erasing->gone)
        return WP_NO_MEMORY;
    status = wp_sql_query(erasing->txn->sql, &rows,
                          "SELECT o.measurement_id, EXISTS (SELECT 1 FROM owned x WHERE "
                          "x.measurement_id = o.measurement_id AND x.person_id <> o.person_id) "
                          "FROM owned o WHERE o.person_id = ? ORDER BY 1",
                          "i", person);
    while (!status && erasing->count < (size_t)count && wp_rows_next(&rows)) {
        erasing->ids[erasing->count] = wp_rows_int(&rows, 0);
        erasing->shared[erasing->count++] = wp_rows_int(&rows, 1) != 0;
    }
    return status ? status : wp_rows_end(&rows);
}

static enum wp_status add_number(struct erasing *erasing, int64_t measurement)
{
    char text[WP_ACCESSION_ROOM];
    int64_t accession = 0;
    enum wp_status status =
        wp_sql_int(erasing->txn->sql, &accession, "SELECT accession FROM measurement WHERE id = ?",
                   "i", measurement);
    wp_accession_format((uint64_t)accession, text);
    cJSON_AddItemToArray(erasing->named, cJSON_CreateString(text));
    return status;
}

static enum wp_status decide(struct erasing *erasing, size_t i)
{
    bool named = false;
    bool all = !strcmp(erasing->removal->spectra, "remove");
    enum wp_status status = WP_OK;
    if (erasing->shared[i]) {
        erasing->shares++;
        return WP_OK;
    }
    if (!all)
        status = file_names_them(erasing->txn, erasing->ids[i], &erasing->own, &named);
    if (!status && named)
        status = add_number(erasing, erasing->ids[i]);
    erasing->gone[i] = all || named;
    erasing->removed += erasing->gone[i];
    erasing->kept += !erasing->gone[i];
    return status;
}

static enum wp_status change(struct erasing *erasing, int64_t person)
{
    struct wp_txn *txn = erasing->txn;
    const char *words[WP_FORGOTTEN_WORDS];
    for (size_t i = 0; i < erasing->words.count; i++)
        words[i] = erasing->words.words[i];
    enum wp_status status = wp_removal_add(txn, erasing->removal);
    if (!status)
        status = wp_delivery_forget(txn, 0, person, "The person was removed.");
    for (size_t i = 0; !status && i < erasing->count; i++)
        if (erasing->gone[i])
            status = removal_measurement(txn, erasing->ids[i], erasing->removal->id);
    if (!status)
        status = wp_archive_forget(txn, person, words, erasing->words.count);
    if (!status)
        status = wp_person_erase(txn, person, &erasing->words);
    return status ? status : removal_want_scrub(txn);
}

static void report(const struct erasing *erasing, cJSON *out)
{
    cJSON_AddNumberToObject(out, "spectra", (double)erasing->count);
    cJSON_AddNumberToObject(out, "kept", (double)erasing->kept);
    cJSON_AddNumberToObject(out, "shared", (double)erasing->shares);
    cJSON_AddNumberToObject(out, "removed", (double)erasing->removed);
}

enum wp_status removal_person(struct wp_txn *txn, struct wp_removal *removal, int64_t person,
                              bool dry, cJSON *out)
{
    struct erasing erasing = {.txn = txn, .removal = removal};
    erasing.named = cJSON_AddArrayToObject(out, "named");
    enum wp_status status = wp_person_words(txn->sql, person, &erasing.words);
    erasing.own = erasing.words;
    if (!status)
        status = add_family(txn->sql, person, &erasing.own);
    if (!status)
        status = read_spectra(&erasing, person);
    for (size_t i = 0; !status && i < erasing.count; i++)
        status = decide(&erasing, i);
    if (!status)
        report(&erasing, out);
    if (!status && !dry)
        status = change(&erasing, person);
    free(erasing.ids);
    free(erasing.shared);
    free(erasing.gone);
    return status;
}

/* ---- again, after a restore ---- */

struct repeating {
    struct wp_db *db;
    struct wp_removal removal;
    struct wp_error *error;
};

static enum wp_status do_again(struct wp_txn *txn, struct wp_removal *removal)
{
    unsigned char digest[WP_SHA256_SIZE];
    int64_t id = strtoll(removal->subject, NULL, 10);
    enum wp_status status = WP_NOT_FOUND;
    if (!strcmp(removal->kind, "person")) {
        cJSON *out = cJSON_CreateObject();
        status = removal_person(txn, removal, id, false, out);
        cJSON_Delete(out);
        return status == WP_NOT_FOUND ? wp_removal_add(txn, removal) : status;
    }
    status = wp_removal_add(txn, removal);
    if (status)
        return status;
    if (!strcmp(removal->kind, "measurement"))
        status = removal_measurement(txn, id, removal->id);
    else if (wp_hex_decode(removal->subject, digest, sizeof digest))
        status = wp_remove_object(txn, digest);
    /* The backup may be older than what was removed. */
    return status == WP_NOT_FOUND || status == WP_CONFLICT ? WP_OK : status;
}

static enum wp_status repeat(struct wp_txn *txn, void *arg)
{
    struct repeating *repeating = arg;
    int64_t known = 0;
    enum wp_status status = wp_sql_int(txn->sql, &known, "SELECT 1 FROM removal WHERE id = ?", "i",
                                       repeating->removal.id);
    if (status != WP_NOT_FOUND)
        return status;
    status = do_again(txn, &repeating->removal);
    if (!status)
        status = wp_sql_run(txn->sql, "UPDATE removal SET listed = 1 WHERE id = ?", "i",
                            repeating->removal.id);
    return status ? status : removal_want_scrub(txn);
}

static enum wp_status repeat_one(void *arg, const struct wp_removal *removal)
{
    struct repeating *repeating = arg;
    repeating->removal = *removal;
    enum wp_status status = wp_db_write_now(repeating->db, repeat, repeating);
    return status ? wp_fail(repeating->error, status,
                            "%s %s could not be removed again after a restore: %s.", removal->kind,
                            removal->subject, wp_status_name(status))
                  : WP_OK;
}

enum wp_status wp_removals_repeat(struct wp_db *db, const char *folder, struct wp_error *error)
{
    struct repeating repeating = {.db = db, .error = error};
    return wp_removals_read(folder, repeat_one, &repeating, error);
}
