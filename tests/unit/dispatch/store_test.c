/* Deliveries in a real database: beginning, changes, who may, claims and leases. */
#include <inttypes.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/clock.h"
#include "delivery.h"
#include "snapshot.h"

static char folder[] = "/tmp/wavepost-deliveries-XXXXXX";
static struct wp_db *db;

static int open_database(void **state)
{
    (void)state;
    snprintf(folder, sizeof folder, "/tmp/wavepost-deliveries-XXXXXX");
    struct wp_db_options options = {.folder = mkdtemp(folder)};
    return options.folder != NULL && wp_db_open(&options, &db, NULL) == WP_OK ? 0 : -1;
}

static int close_database(void **state)
{
    (void)state;
    char command[128];
    wp_db_close(db);
    snprintf(command, sizeof command, "rm -r '%s'", folder);
    return system(command);
}

/* ---- small steps ---- */

struct enqueue {
    struct wp_delivery_request request;
    struct wp_delivery_made made;
    enum wp_status status;
};

static enum wp_status run_enqueue(struct wp_txn *txn, void *job)
{
    struct enqueue *enqueue = job;
    enqueue->status = wp_delivery_enqueue(txn, &enqueue->request, &enqueue->made, NULL);
    return enqueue->status;
}

static struct enqueue sheet_of(int64_t person)
{
    return (struct enqueue){.request = {.kind = WP_DELIVERY_PRINT,
                                        .measurement = 1,
                                        .person = person,
                                        .instrument = 1,
                                        .pages = 1,
                                        .reason = "Kept at the bench.",
                                        .actor = WP_ACTOR_BENCH,
                                        .actor_id = 7}};
}

static int64_t make(struct enqueue enqueue)
{
    assert_int_equal(wp_db_write_now(db, run_enqueue, &enqueue), WP_OK);
    return enqueue.made.id;
}

static enum wp_status run_move(struct wp_txn *txn, void *job)
{
    return wp_delivery_move(txn, job);
}

static enum wp_status move(int64_t delivery, enum wp_delivery_state to, const char *reason)
{
    struct wp_move one = {
        .delivery = delivery, .to = to, .reason = reason, .actor = WP_ACTOR_SYSTEM};
    return wp_db_write_now(db, run_move, &one);
}

struct number {
    const char *text;
    int64_t argument;
    int64_t value;
};

static enum wp_status run_number(struct wp_sql *sql, void *job)
{
    struct number *number = job;
    return wp_sql_int(sql, &number->value, number->text, "i", number->argument);
}

static int64_t number(const char *text, int64_t argument)
{
    struct number one = {text, argument, -1};
    assert_int_equal(wp_db_read_now(db, run_number, &one), WP_OK);
    return one.value;
}

static enum wp_status run_script(struct wp_txn *txn, void *job)
{
    return wp_sql_script(txn->sql, job);
}

static void script(char *text)
{
    assert_int_equal(wp_db_write_now(db, run_script, text), WP_OK);
}

static int64_t events(int64_t delivery)
{
    return number("SELECT COUNT(*) FROM delivery_event WHERE delivery_id = ?", delivery);
}

/* ---- tests ---- */

static void every_change_leaves_an_event_and_a_refused_one_leaves_nothing(void **state)
{
    (void)state;
    int64_t id = make(sheet_of(5));
    assert_int_equal(events(id), 1);
    assert_int_equal(move(id, WP_DELIVERY_SENDING, "Printing at 214."), WP_OK);
    assert_int_equal(move(id, WP_DELIVERY_PRINTING, "Printing at 214."), WP_OK);
    assert_int_equal(move(id, WP_DELIVERY_PRINTING, "Printing at 214."), WP_OK);
    assert_int_equal(events(id), 3);
    assert_int_equal(move(id, WP_DELIVERY_INBOX, "No."), WP_CONFLICT);
    assert_int_equal(move(id, WP_DELIVERY_DONE, "Printed."), WP_OK);
    assert_int_equal(move(id, WP_DELIVERY_WAITING, "Again."), WP_CONFLICT);
    assert_int_equal(events(id), 4);
    assert_int_equal(move(id + 1, WP_DELIVERY_DONE, "No such."), WP_NOT_FOUND);
}

static int calls;
static enum wp_status refusing_hook(struct wp_txn *txn, const struct wp_delivery_change *change)
{
    (void)txn;
    calls++;
    return strcmp(change->to, "done") == 0 ? WP_FULL : WP_OK;
}

static void the_hook_sees_every_change_and_its_failure_undoes_the_change(void **state)
{
    (void)state;
    calls = 0;
    wp_delivery_set_hook(refusing_hook);
    int64_t id = make(sheet_of(5));
    assert_int_equal(move(id, WP_DELIVERY_SENDING, "x"), WP_OK);
    assert_int_equal(move(id, WP_DELIVERY_DONE, "y"), WP_FULL);
    wp_delivery_set_hook(NULL);
    assert_int_equal(calls, 3);
    assert_int_equal(events(id), 2);
    assert_int_equal(number("SELECT state = 'sending' FROM delivery WHERE id = ?", id), 1);
}

static void reasons_are_cleaned_and_cut(void **state)
{
    (void)state;
    char reason[600];
    memset(reason, 'r', sizeof reason - 1);
    reason[sizeof reason - 1] = '\0';
    memcpy(reason, "a\nb", 3);
    int64_t id = make(sheet_of(5));
    assert_int_equal(move(id, WP_DELIVERY_FAILED, reason), WP_OK);
    assert_true(number("SELECT length(reason) <= 240 FROM delivery WHERE id = ?", id));
    assert_int_equal(number("SELECT instr(reason, char(10)) FROM delivery WHERE id = ?", id), 0);
}

static void the_days_limit_counts_what_went_or_goes_to_a_printer(void **state)
{
    (void)state;
    struct enqueue wanted = sheet_of(5);
    wanted.request.course = 3;
    wanted.request.pages = 2;
    wanted.request.pages_a_day = 4;
    int64_t first = make(wanted);
    make(wanted);
    assert_int_equal(wp_db_write_now(db, run_enqueue, &wanted), WP_OK);
    assert_true(wanted.made.over_limit);
    assert_int_equal(number("SELECT state = 'inbox' FROM delivery WHERE id = ?", wanted.made.id),
                     1);
    /* What failed does not count; yesterday's does not; another course's does not. */
    assert_int_equal(move(first, WP_DELIVERY_FAILED, "no"), WP_OK);
    wanted.made.over_limit = true;
    assert_int_equal(wp_db_write_now(db, run_enqueue, &wanted), WP_OK);
    assert_false(wanted.made.over_limit);
    char yesterday[] = "UPDATE delivery SET created_us = created_us - 90000000000";
    script(yesterday);
    assert_int_equal(wp_db_write_now(db, run_enqueue, &wanted), WP_OK);
    assert_false(wanted.made.over_limit);
}

static void what_makes_no_sense_is_refused(void **state)
{
    (void)state;
    struct enqueue bad = sheet_of(5);
    bad.request.pages = 0;
    assert_int_equal(wp_db_write_now(db, run_enqueue, &bad), WP_INVALID);
    bad = sheet_of(5);
    bad.request.pages = 101;
    assert_int_equal(wp_db_write_now(db, run_enqueue, &bad), WP_INVALID);
    bad = sheet_of(5);
    bad.request.reason = "";
    assert_int_equal(wp_db_write_now(db, run_enqueue, &bad), WP_INVALID);
    bad = sheet_of(0);
    bad.request.kind = WP_DELIVERY_MAIL;
    assert_int_equal(wp_db_write_now(db, run_enqueue, &bad), WP_INVALID);
    bad = sheet_of(5);
    bad.request.printer = 12345;
    assert_int_equal(wp_db_write_now(db, run_enqueue, &bad), WP_NOT_FOUND);
    assert_int_equal(number("SELECT COUNT(*) FROM delivery WHERE id > ?", 0), 0);
}

struct act {
    wp_act_fn fn;
    struct wp_ask ask;
    cJSON *out;
};

static enum wp_status run_act(struct wp_txn *txn, void *job)
{
    struct act *act = job;
    return act->fn(txn, &act->ask, &act->out, NULL);
}

static enum wp_status as(const struct wp_who *who, wp_act_fn fn, int64_t id, const char *member,
                         const char *value)
{
    char param[24];
    snprintf(param, sizeof param, "%lld", (long long)id);
    cJSON *query = cJSON_CreateObject();
    cJSON *body = cJSON_CreateObject();
    if (member != NULL)
        cJSON_AddStringToObject(body, member, value);
    struct act act = {fn, {.who = who, .param = {param}, .query = query, .body = body}, NULL};
    enum wp_status status = wp_db_write_now(db, run_act, &act);
    cJSON_Delete(act.out);
    cJSON_Delete(query);
    cJSON_Delete(body);
    return status;
}

static void people_act_on_their_own_deliveries_and_benches_on_their_instruments(void **state)
{
    (void)state;
    const struct wp_who owner = {.actor = WP_ACTOR_PERSON, .id = 5, .roles = WP_ROLE_STUDENT};
    const struct wp_who other = {.actor = WP_ACTOR_PERSON, .id = 6, .roles = WP_ROLE_STUDENT};
    const struct wp_who nobody = {.actor = WP_ACTOR_PERSON};
    const struct wp_who bench = {.actor = WP_ACTOR_BENCH, .id = 7, .instrument = 1};
    const struct wp_who other_bench = {.actor = WP_ACTOR_BENCH, .id = 8, .instrument = 2};
    const struct wp_who staff = {.actor = WP_ACTOR_PERSON, .id = 9, .roles = WP_ROLE_TECHNICIAN};
    int64_t id = make(sheet_of(5));
    assert_int_equal(as(&other, wp_delivery_act_cancel, id, NULL, NULL), WP_NOT_FOUND);
    assert_int_equal(as(&nobody, wp_delivery_act_cancel, id, NULL, NULL), WP_NOT_FOUND);
    assert_int_equal(as(&other_bench, wp_delivery_act_cancel, id, NULL, NULL), WP_NOT_FOUND);
    assert_int_equal(as(&owner, wp_delivery_act_cancel, id, NULL, NULL), WP_OK);
    assert_int_equal(as(&owner, wp_delivery_act_cancel, id, NULL, NULL), WP_CONFLICT);
    assert_int_equal(as(&bench, wp_delivery_act_retry, id, NULL, NULL), WP_OK);
    assert_int_equal(as(&staff, wp_delivery_act_cancel, id, NULL, NULL), WP_OK);
    assert_int_equal(as(&owner, wp_delivery_act_resolve, id, "found", "printed"), WP_CONFLICT);
    assert_int_equal(as(&owner, wp_delivery_act_resolve, id, "found", "perhaps"), WP_INVALID);
    assert_int_equal(as(&owner, wp_delivery_act_answer, id, "answer", "print"), WP_CONFLICT);
    assert_int_equal(number("SELECT COUNT(*) FROM ledger WHERE number > ?", 0), 3);
}

static void only_staff_send_what_stayed_in_the_inbox(void **state)
{
    (void)state;
    const struct wp_who owner = {.actor = WP_ACTOR_PERSON, .id = 5, .roles = WP_ROLE_STUDENT};
    const struct wp_who staff = {.actor = WP_ACTOR_PERSON, .id = 9, .roles = WP_ROLE_INSTRUCTOR};
    struct enqueue wanted = sheet_of(5);
    wanted.request.pages = 2;
    wanted.request.pages_a_day = 1;
    int64_t id = make(wanted);
    assert_int_equal(as(&owner, wp_delivery_act_retry, id, NULL, NULL), WP_DENIED);
    assert_int_equal(as(&staff, wp_delivery_act_retry, id, NULL, NULL), WP_OK);
}

static void printers_are_checked_before_they_are_kept(void **state)
{
    (void)state;
    const struct wp_who staff = {.actor = WP_ACTOR_PERSON, .id = 9, .roles = WP_ROLE_TECHNICIAN};
    assert_int_equal(as(&staff, wp_printer_act_add, 0, "name", "214"), WP_INVALID);
    char printer[] = "INSERT INTO printer (id, name, uri, place, created_us)"
                     " VALUES (11, '214', 'ipp://localhost/ipp/print', 'Science/2/214', 0)";
    script(printer);
    assert_int_equal(as(&staff, wp_printer_act_change, 11, "uri", "http://x/"), WP_INVALID);
    assert_int_equal(as(&staff, wp_printer_act_change, 11, "paper", "a3"), WP_INVALID);
    assert_int_equal(as(&staff, wp_printer_act_change, 11, "language", "pcl"), WP_INVALID);
    assert_int_equal(as(&staff, wp_printer_act_change, 11, "place", " / "), WP_INVALID);
    assert_int_equal(as(&staff, wp_printer_act_change, 12, "paper", "a4"), WP_NOT_FOUND);
    assert_int_equal(as(&staff, wp_printer_act_change, 11, "paper", "letter"), WP_OK);
    assert_int_equal(as(&staff, wp_printer_act_pause, 12, NULL, NULL), WP_NOT_FOUND);
    int64_t id = make(sheet_of(5));
    assert_int_equal(move(id, WP_DELIVERY_SENDING, "x"), WP_OK);
    char there[] = "UPDATE delivery SET printer_id = 11";
    script(there);
    assert_int_equal(as(&staff, wp_printer_act_remove, 11, NULL, NULL), WP_CONFLICT);
    assert_int_equal(move(id, WP_DELIVERY_FAILED, "x"), WP_OK);
    assert_int_equal(as(&staff, wp_printer_act_remove, 11, NULL, NULL), WP_OK);
    assert_int_equal(as(&staff, wp_printer_act_remove, 11, NULL, NULL), WP_NOT_FOUND);
}

static void a_snapshot_holds_what_is_live_and_due_and_never_too_much(void **state)
{
    (void)state;
    static struct wp_snapshot snapshot;
    struct enqueue later = sheet_of(5);
    later.request.due_us = wp_clock_utc() + WP_HOUR;
    for (int i = 0; i < WP_SNAPSHOT_ROWS + 20; i++)
        make(sheet_of(5));
    int64_t under_way = make(sheet_of(6));
    assert_int_equal(move(under_way, WP_DELIVERY_SENDING, "x"), WP_OK);
    make(later);
    assert_int_equal(wp_db_read_now(db, wp_snapshot_read, &snapshot), WP_OK);
    assert_int_equal(snapshot.count, WP_SNAPSHOT_ROWS);
    assert_int_equal(snapshot.rows[0].id, under_way);
    assert_int_equal(snapshot.next_due_us, later.request.due_us);
}

/* ---- leases ---- */

static enum wp_status no_render(void *arg, const struct wp_sheet_wanted *wanted,
                                struct wp_bytes *pdf, struct wp_post_sheet *mail,
                                struct wp_error *error)
{
    (void)arg;
    (void)wanted;
    (void)pdf;
    (void)mail;
    return wp_fail(error, WP_RETRY, "nothing is drawn here");
}

/* Lets a dispatcher with owner 1 work for a while. */
static void dispatch_for(unsigned ms)
{
    uv_loop_t loop;
    struct wp_dispatch *dispatch;
    struct wp_dispatch_options options = {.render = no_render, .owner = 1, .answer_ms = 500};
    assert_int_equal(uv_loop_init(&loop), 0);
    assert_int_equal(wp_db_start(db, &loop), WP_OK);
    assert_int_equal(wp_dispatch_start(db, &loop, &options, &dispatch, NULL), WP_OK);
    int64_t end = wp_clock_steady() + (int64_t)ms * 1000;
    while (wp_clock_steady() < end) {
        uv_run(&loop, UV_RUN_NOWAIT);
        usleep(2000);
    }
    wp_dispatch_stop(dispatch);
    wp_db_close(db);
    uv_run(&loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(&loop), 0);
    struct wp_db_options again = {.folder = folder};
    assert_int_equal(wp_db_open(&again, &db, NULL), WP_OK);
}

static void a_lease_of_another_gateway_holds_until_it_runs_out(void **state)
{
    (void)state;
    char printer[] = "INSERT INTO printer (id, name, uri, place, created_us)"
                     " VALUES (11, '214', 'ipp://localhost:1/ipp/print', 'Science/2/214', 0)";
    script(printer);
    int64_t held = make(sheet_of(5));
    int64_t lost = make(sheet_of(5));
    assert_int_equal(move(held, WP_DELIVERY_SENDING, "x"), WP_OK);
    assert_int_equal(move(lost, WP_DELIVERY_SENDING, "x"), WP_OK);
    char leases[400];
    snprintf(leases, sizeof leases,
             "UPDATE delivery SET printer_id = 11, lease_owner = 2, lease_until_us = %" PRId64 ";"
             "UPDATE delivery SET lease_until_us = 1 WHERE id = %" PRId64,
             wp_clock_utc() + WP_HOUR, lost);
    script(leases);
    dispatch_for(1500);
    assert_int_equal(number("SELECT lease_owner FROM delivery WHERE id = ?", held), 2);
    assert_int_equal(number("SELECT state = 'sending' FROM delivery WHERE id = ?", held), 1);
    assert_int_equal(number("SELECT lease_owner <> 2 FROM delivery WHERE id = ?", lost), 1);
    assert_int_equal(number("SELECT state = 'waiting' FROM delivery WHERE id = ?", lost), 1);
}

static void what_may_have_been_sent_is_not_sent_to_another_printer(void **state)
{
    (void)state;
    char printer[] = "INSERT INTO printer (id, name, uri, place, created_us)"
                     " VALUES (11, '214', 'ipp://localhost:1/ipp/print', 'Science/2/214', 0)";
    script(printer);
    int64_t doubtful = make(sheet_of(5));
    assert_int_equal(move(doubtful, WP_DELIVERY_SENDING, "x"), WP_OK);
    char doubt[] = "UPDATE delivery SET printer_id = 11, lease_owner = 1, in_doubt = 1, job = 4,"
                   " lease_until_us = 1";
    script(doubt);
    dispatch_for(1500);
    assert_int_equal(number("SELECT state = 'sending' AND in_doubt = 1 AND job = 4"
                            " FROM delivery WHERE id = ?",
                            doubtful),
                     1);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, open_database, close_database)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(every_change_leaves_an_event_and_a_refused_one_leaves_nothing),
        TEST(the_hook_sees_every_change_and_its_failure_undoes_the_change),
        TEST(reasons_are_cleaned_and_cut),
        TEST(the_days_limit_counts_what_went_or_goes_to_a_printer),
        TEST(what_makes_no_sense_is_refused),
        TEST(people_act_on_their_own_deliveries_and_benches_on_their_instruments),
        TEST(only_staff_send_what_stayed_in_the_inbox),
        TEST(printers_are_checked_before_they_are_kept),
        TEST(a_snapshot_holds_what_is_live_and_due_and_never_too_much),
        TEST(a_lease_of_another_gateway_holds_until_it_runs_out),
        TEST(what_may_have_been_sent_is_not_sent_to_another_printer),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
