/* One test for each row of the table in docs/stamping.md, in its order. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "people/stamping.h"

#define S INT64_C(1000000)
#define MIN (60 * S)

/* A's turn from 0 to 10 min, B's from 10 min on. */
enum { A = 1, B = 2 };
static struct wp_turn_seen turns[2];
static struct wp_evidence evidence;

static int set_up(void **state)
{
    (void)state;
    turns[0] = (struct wp_turn_seen){.id = A, .opened_us = 0, .closed_us = 10 * MIN, .expected = 1};
    turns[1] = (struct wp_turn_seen){.id = B, .opened_us = 10 * MIN, .expected = 1};
    evidence = (struct wp_evidence){.turns = turns,
                                    .count = 2,
                                    .change_us = WP_CHANGE_OF_TURNS_US,
                                    .silence_us = WP_SILENCE_US};
    return 0;
}

static void stamped(int64_t turn)
{
    struct wp_ruling ruling = wp_stamping_rule(&evidence);
    assert_int_equal(ruling.rule, WP_RULE_TURN);
    assert_int_equal(ruling.turn, turn);
    assert_int_equal(ruling.suggestion, 0);
    assert_false(ruling.ask);
    assert_true(strlen(ruling.reason) > 0);
}

static void asked(int64_t suggestion)
{
    struct wp_ruling ruling = wp_stamping_rule(&evidence);
    assert_int_equal(ruling.rule, WP_RULE_NOBODY);
    assert_int_equal(ruling.turn, 0);
    assert_int_equal(ruling.suggestion, suggestion);
    assert_true(ruling.ask);
}

static void file_at(int64_t at)
{
    evidence.has_file_time = true;
    evidence.file_us = evidence.file_from_us = at;
}

static void time_in_the_file_within_a_turn_stamps_it(void **state)
{
    (void)state;
    file_at(12 * MIN);
    evidence.export_us = 12 * MIN + 5 * S;
    stamped(B);
}

static void export_well_inside_a_turn_stamps_it(void **state)
{
    (void)state;
    evidence.export_us = 13 * MIN;
    stamped(B);
}

static void saved_late_belongs_to_who_measured(void **state)
{
    (void)state;
    file_at(9 * MIN);
    evidence.export_us = 11 * MIN;
    stamped(A);
}

static void export_near_a_change_of_turns_is_asked(void **state)
{
    (void)state;
    evidence.export_us = 10 * MIN + 89 * S;
    asked(B);
    evidence.export_us = 10 * MIN - 89 * S;
    asked(A);
    evidence.export_us = 10 * MIN + 90 * S;
    stamped(B);
}

static void near_a_change_the_time_in_the_file_decides(void **state)
{
    (void)state;
    file_at(10 * MIN - 3 * S);
    evidence.export_us = 10 * MIN + 3 * S;
    stamped(A);
}

static void measured_before_the_turn_began_is_asked(void **state)
{
    (void)state;
    evidence.turns = turns + 1;
    evidence.count = 1;
    file_at(8 * MIN);
    evidence.export_us = 12 * MIN;
    asked(0);
}

static void turn_with_its_expected_spectra_is_asked(void **state)
{
    (void)state;
    turns[1].seen = 1;
    turns[1].last_us = 12 * MIN;
    evidence.export_us = 15 * MIN;
    asked(B);
    turns[1].expected = 0; /* no number expected: goes on */
    stamped(B);
}

static void after_still_me_the_next_one_is_stamped(void **state)
{
    (void)state;
    turns[1].seen = 1;
    turns[1].last_us = 12 * MIN;
    turns[1].confirmed_us = 14 * MIN;
    evidence.export_us = 15 * MIN;
    stamped(B);
    turns[1].last_us = 15 * MIN; /* that one has come: asked again */
    evidence.export_us = 16 * MIN;
    asked(B);
}

static void silence_of_twenty_minutes_is_asked(void **state)
{
    (void)state;
    evidence.export_us = 30 * MIN + S;
    asked(B);
    turns[1].confirmed_us = 29 * MIN;
    stamped(B);
}

static void after_done_nobody_but_a_suggestion(void **state)
{
    (void)state;
    evidence.count = 1;
    evidence.export_us = 12 * MIN;
    asked(A);
}

static void after_done_the_time_in_the_file_still_stamps(void **state)
{
    (void)state;
    evidence.count = 1;
    file_at(9 * MIN);
    evidence.export_us = 12 * MIN;
    stamped(A);
}

static void long_after_done_no_suggestion(void **state)
{
    (void)state;
    evidence.count = 1;
    evidence.export_us = 31 * MIN;
    asked(0);
}

static void nobody_ever_signed_on(void **state)
{
    (void)state;
    evidence.count = 0;
    evidence.export_us = 12 * MIN;
    asked(0);
}

static void identity_in_the_file_without_a_turn_stamps_the_person(void **state)
{
    (void)state;
    evidence.count = 0;
    evidence.named = true;
    evidence.export_us = 12 * MIN;
    struct wp_ruling ruling = wp_stamping_rule(&evidence);
    assert_int_equal(ruling.rule, WP_RULE_IDENTITY);
    assert_false(ruling.ask);
}

static void file_naming_somebody_else_is_asked(void **state)
{
    (void)state;
    evidence.named = true;
    evidence.export_us = 13 * MIN;
    asked(B);
    assert_true(wp_stamping_rule(&evidence).suggest_named);
    turns[1].named_is_in = true;
    stamped(B);
}

static void unknown_clock_is_asked(void **state)
{
    (void)state;
    evidence.clock_unknown = true;
    evidence.export_us = 13 * MIN;
    asked(B);
}

static void late_near_a_change_is_asked(void **state)
{
    (void)state;
    evidence.doubt_us = evidence.change_us;
    file_at(10 * MIN + 20 * S);
    evidence.export_us = evidence.file_us;
    asked(B);
    file_at(10 * MIN - 20 * S);
    evidence.export_us = evidence.file_us;
    asked(A);
    file_at(8 * MIN);
    evidence.export_us = evidence.file_us;
    stamped(A);
}

static void time_in_the_file_ahead_of_the_export_is_not_believed(void **state)
{
    (void)state;
    file_at(40 * MIN);
    evidence.export_us = 13 * MIN;
    stamped(B);
}

static void whole_seconds_in_which_turns_changed_are_asked(void **state)
{
    (void)state;
    file_at(10 * MIN + S / 10);
    evidence.file_from_us = 10 * MIN - 9 * S / 10;
    evidence.export_us = 10 * MIN + S / 10;
    asked(B);
    file_at(10 * MIN - S / 10);
    asked(A);
    file_at(10 * MIN - 6 * S / 10);
    stamped(A);
}

int main(void)
{
#define ROW(name) cmocka_unit_test_setup(name, set_up)
    const struct CMUnitTest tests[] = {
        ROW(time_in_the_file_within_a_turn_stamps_it),
        ROW(export_well_inside_a_turn_stamps_it),
        ROW(saved_late_belongs_to_who_measured),
        ROW(export_near_a_change_of_turns_is_asked),
        ROW(near_a_change_the_time_in_the_file_decides),
        ROW(measured_before_the_turn_began_is_asked),
        ROW(turn_with_its_expected_spectra_is_asked),
        ROW(after_still_me_the_next_one_is_stamped),
        ROW(silence_of_twenty_minutes_is_asked),
        ROW(after_done_nobody_but_a_suggestion),
        ROW(after_done_the_time_in_the_file_still_stamps),
        ROW(long_after_done_no_suggestion),
        ROW(nobody_ever_signed_on),
        ROW(identity_in_the_file_without_a_turn_stamps_the_person),
        ROW(file_naming_somebody_else_is_asked),
        ROW(unknown_clock_is_asked),
        ROW(late_near_a_change_is_asked),
        ROW(time_in_the_file_ahead_of_the_export_is_not_believed),
        ROW(whole_seconds_in_which_turns_changed_are_asked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
