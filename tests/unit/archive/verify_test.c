#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "archive/mover.h"
#include "archive/verify.h"
#include "base/clock.h"
#include "sample.h"

#define OBJECTS 20
#define SIZE 500

struct found {
    int faults;
    char lines[16][512];
    int64_t done;
    int64_t total;
};

static void on_fault(void *arg, const char *line)
{
    struct found *found = arg;
    if (found->faults < 16)
        (void)snprintf(found->lines[found->faults], sizeof found->lines[0], "%s", line);
    found->faults++;
}

static void on_progress(void *arg, int64_t done, int64_t total)
{
    struct found *found = arg;
    found->done = done;
    found->total = total;
}

static struct sample sample;

/* An archive with half of its objects stored. */
static int start(void **state)
{
    (void)state;
    if (!sample_open(&sample))
        return -1;
    for (int i = 0; i < OBJECTS; i++) {
        struct sample_capture capture = {.number = i, .size = SIZE};
        if (i == OBJECTS / 2) {
            struct wp_mover *mover;
            sample_start(&sample);
            if (wp_mover_start(sample.db, sample.store, &mover, NULL))
                return -1;
            for (int waited = 0; waited < 2000 && sample_staged(&sample); waited++)
                uv_sleep(10);
            wp_mover_stop(mover);
            sample_close(&sample);
            if (!sample_reopen(&sample))
                return -1;
        }
        if (wp_db_write_now(sample.db, sample_take, &capture))
            return -1;
    }
    return 0;
}

static int stop(void **state)
{
    (void)state;
    sample_close(&sample);
    sample_remove(&sample);
    return 0;
}

/* Foreign keys are switched off, as a damaged file or a strange hand would not mind them. */
static void harm(const char *statement)
{
    char path[64];
    struct wp_sql *sql;
    (void)snprintf(path, sizeof path, "%s/gateway.db", sample.folder);
    assert_int_equal(wp_sql_open(path, WP_SQL_WRITE, &sql, NULL), WP_OK);
    assert_int_equal(wp_sql_script(sql, "PRAGMA foreign_keys = OFF"), WP_OK);
    assert_int_equal(wp_sql_script(sql, statement), WP_OK);
    assert_true(wp_sql_changes(sql) > 0);
    wp_sql_close(sql);
}

static struct found verify(void)
{
    struct found found = {0};
    struct wp_verify_watch watch = {.fault = on_fault, .progress = on_progress, .arg = &found};
    struct wp_verify_counts counts;
    struct wp_sql *sql;
    assert_int_equal(wp_db_reader(sample.db, &sql, NULL), WP_OK);
    assert_int_equal(wp_verify(sql, sample.store, &watch, &counts, NULL), WP_OK);
    assert_int_equal(counts.faults, found.faults);
    assert_true(counts.objects <= OBJECTS + 1);
    wp_sql_close(sql);
    return found;
}

static void assert_found(const char *text)
{
    struct found found = verify();
    for (int i = 0; i < found.faults && i < 16; i++)
        if (strstr(found.lines[i], text))
            return;
    fail_msg("%d faults, none says \"%s\"; the first: %s", found.faults, text, found.lines[0]);
}

static void object_path(int number, char path[160])
{
    unsigned char digest[WP_SHA256_SIZE];
    char hex[WP_SHA256_HEX];
    free(sample_bytes(number, SIZE, digest));
    wp_hex_encode(digest, sizeof digest, hex);
    (void)snprintf(path, 160, "%s/objects/%.2s/%s", sample.folder, hex, hex);
}

static void a_sound_archive_has_no_faults(void **state)
{
    (void)state;
    struct found found = verify();
    if (found.faults)
        fail_msg("%s", found.lines[0]);
    assert_int_equal(found.done, OBJECTS);
    assert_int_equal(found.total, OBJECTS);
    assert_int_equal(sample_staged(&sample), OBJECTS / 2);
}

static void one_changed_bit_in_a_stored_file_is_found(void **state)
{
    (void)state;
    char path[160];
    object_path(3, path);
    assert_int_equal(chmod(path, 0600), 0);
    FILE *file = fopen(path, "r+");
    assert_non_null(file);
    assert_int_equal(fseek(file, 100, SEEK_SET), 0);
    int byte = fgetc(file);
    assert_int_equal(fseek(file, 100, SEEK_SET), 0);
    assert_int_equal(fputc(byte ^ 1, file), byte ^ 1);
    assert_int_equal(fclose(file), 0);
    assert_found("its bytes are not those of its digest");
    assert_int_equal(verify().faults, 1);
}

static void a_stored_file_that_is_gone_is_found(void **state)
{
    (void)state;
    char path[160];
    object_path(3, path);
    assert_int_equal(unlink(path), 0);
    assert_found("its bytes are gone");
}

static void a_stored_file_without_a_record_is_found(void **state)
{
    (void)state;
    unsigned char digest[WP_SHA256_SIZE];
    char *bytes = sample_bytes(999, SIZE, digest);
    assert_int_equal(sample.store->ops->put(sample.store, digest, bytes, SIZE, NULL), WP_OK);
    free(bytes);
    assert_found("no record names it");
    assert_int_equal(verify().faults, 1);
}

static void staged_bytes_that_changed_are_found(void **state)
{
    (void)state;
    harm("UPDATE staged SET body = x'28b52ffd' WHERE sha256 = (SELECT max(sha256) FROM staged)");
    assert_found("its bytes are not those of its digest");
}

static void broken_references_are_found(void **state)
{
    (void)state;
    static const struct {
        const char *harm;
        const char *text;
    } cases[] = {
        {"DELETE FROM staged WHERE sha256 = (SELECT max(sha256) FROM staged)",
         "it is neither staged nor stored"},
        {"INSERT INTO object (sha256, size, state, first_us) VALUES (zeroblob(32), 0, 'stored', 0)",
         "no capture brought it"},
        {"INSERT INTO staged (sha256, size, encoding, body) VALUES (zeroblob(32), 0, 'zstd', "
         "x'00')",
         "staged bytes without an object"},
        {"UPDATE capture SET sha256 = x'0102' WHERE number = 4", "its object is missing"},
        {"UPDATE capture SET ledger_number = 1000 WHERE number = 5", "what its receipt says"},
        {"DELETE FROM capture WHERE number = 6", "its capture is missing"},
        {"DELETE FROM rendition WHERE id = (SELECT min(id) FROM rendition)", "it has no rendition"},
        {"UPDATE rendition SET measurement_id = 1 WHERE id = (SELECT max(id) FROM rendition)",
         "rendition"},
        {"UPDATE rendition SET sha256 = zeroblob(32) WHERE id = (SELECT max(id) FROM rendition)",
         "it is not of the object that its capture brought"},
        {"UPDATE stamp SET measurement_id = 1 WHERE id = (SELECT max(id) FROM stamp)",
         "its stamp is not its newest one"},
        {"UPDATE stamp SET revision = 7 WHERE id = (SELECT max(id) FROM stamp)",
         "a revision before it is missing"},
        {"INSERT INTO owned (person_id, measurement_id) SELECT 77, min(id) FROM measurement",
         "the lists of its persons differ"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        harm(cases[i].harm);
        assert_found(cases[i].text);
        assert_int_equal(stop(NULL), 0);
        assert_int_equal(start(NULL), 0);
    }
}

static void a_changed_ledger_is_found(void **state)
{
    (void)state;
    harm("UPDATE ledger SET actor_id = 8 WHERE number = 7");
    assert_found("ledger entry 7 does not fit the chain");
}

/* The chain that is left is sound; receipts and the agent know better. */
static void a_ledger_cut_off_at_its_end_is_found_by_its_witnesses(void **state)
{
    (void)state;
    harm("UPDATE agent SET ledger_number = (SELECT max(number) FROM ledger),"
         " ledger_hash = (SELECT hash FROM ledger ORDER BY number DESC LIMIT 1)");
    assert_int_equal(verify().faults, 0);
    harm("DELETE FROM ledger WHERE number = (SELECT max(number) FROM ledger)");
    struct found found = verify();
    assert_int_equal(found.faults, 1);
    assert_string_equal(found.lines[0],
                        "agent 5: the ledger does not hold entry 40 as this agent saw it");
}

#define ON_ARCHIVE(test) cmocka_unit_test_setup_teardown(test, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_ARCHIVE(a_sound_archive_has_no_faults),
        ON_ARCHIVE(one_changed_bit_in_a_stored_file_is_found),
        ON_ARCHIVE(a_stored_file_that_is_gone_is_found),
        ON_ARCHIVE(a_stored_file_without_a_record_is_found),
        ON_ARCHIVE(staged_bytes_that_changed_are_found),
        ON_ARCHIVE(broken_references_are_found),
        ON_ARCHIVE(a_changed_ledger_is_found),
        ON_ARCHIVE(a_ledger_cut_off_at_its_end_is_found_by_its_witnesses),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
