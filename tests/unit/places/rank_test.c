/* Paths of places, and which printer is the nearest. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "places/places.h"

static void a_typed_path_is_trimmed_and_joined(void **state)
{
    (void)state;
    char path[WP_PLACE_ROOM];
    assert_int_equal(wp_place_tidy(" Science / 2/ 214 //bench C /", path, NULL), WP_OK);
    assert_string_equal(path, "Science/2/214/bench C");
}

static void what_is_no_path_is_refused(void **state)
{
    (void)state;
    char longest[400];
    memset(longest, 'x', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    const char *const bad[] = {"",          " / / ", "a/b/c/d/e/f/g/h/i", "Sci\nence/2",
                               "caf\xe9/2", longest};
    char path[WP_PLACE_ROOM] = "kept";
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct wp_error error = {0};
        assert_int_equal(wp_place_tidy(bad[i], path, &error), WP_INVALID);
        assert_true(error.text[0] != '\0');
    }
    assert_int_equal(wp_place_tidy(NULL, path, NULL), WP_INVALID);
    assert_string_equal(path, "kept");
}

static void nearness_counts_common_parts(void **state)
{
    (void)state;
    static const struct {
        const char *a;
        const char *b;
        enum wp_near near;
    } table[] = {
        {"Science/2/214/bench C", "Science/2/214/bench C", WP_NEAR_BENCH},
        {"Science/2/214/bench C/left", "science/2/214/Bench c/right", WP_NEAR_BENCH},
        {"Science/2/214/bench C", "Science/2/214/bench A", WP_NEAR_ROOM},
        {"Science/2/214/bench C", "Science/2/214", WP_NEAR_ROOM},
        {"Science/2/214", "Science/2/21", WP_NEAR_FLOOR},
        {"Science/2/214", "Science/2/216", WP_NEAR_FLOOR},
        {"Science/2/214", "Science/1/214", WP_NEAR_BUILDING},
        {"Science/2/214", "Arts/2/214", WP_NEAR_ELSEWHERE},
        {"Science/2/214", "", WP_NEAR_ELSEWHERE},
        {"", "", WP_NEAR_ELSEWHERE},
        {NULL, "Science", WP_NEAR_ELSEWHERE},
    };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        assert_int_equal(wp_place_near(table[i].a, table[i].b), table[i].near);
        assert_int_equal(wp_place_near(table[i].b, table[i].a), table[i].near);
    }
}

/* Printers of a small college: id, place, metres. */
static struct wp_candidate printer(int64_t id, const char *place, double x, double y)
{
    return (struct wp_candidate){.id = id,
                                 .spot = {.place = place, .measured = x >= 0, .x_m = x, .y_m = y}};
}

static void fill(struct wp_candidate list[6])
{
    list[0] = printer(1, "Arts/1/100", 0, 0);
    list[1] = printer(2, "Science/2/216", 9, 0);
    list[2] = printer(3, "Science/2/214/by the door", 8, 0);
    list[3] = printer(4, "Science/2/214/bench C", -1, 0);
    list[4] = printer(5, "Science/2/214/window", 3, 4);
    list[5] = printer(6, "Science/2/214/corridor side", -1, 0);
}

static void ranking_follows_names_then_place_then_metres_then_id(void **state)
{
    (void)state;
    static const struct {
        const char *place;
        bool measured;
        int64_t first;
        int64_t second;
        int64_t order[6];
    } table[] = {
        {"Science/2/214/bench C", true, 0, 0, {4, 5, 3, 6, 2, 1}},
        {"Science/2/214/bench C", false, 0, 0, {4, 3, 5, 6, 2, 1}},
        {"Science/2/214/bench C", true, 2, 0, {2, 4, 5, 3, 6, 1}},
        {"Science/2/214/bench C", true, 3, 2, {3, 2, 4, 5, 6, 1}},
        {"Science/2/214/bench C", true, 0, 6, {6, 4, 5, 3, 2, 1}},
        {"Science/2/216", true, 0, 0, {2, 5, 3, 4, 6, 1}},
        {"Arts/3", true, 0, 0, {1, 5, 3, 2, 4, 6}},
        {"Science/2/214/bench C", true, 99, 0, {4, 5, 3, 6, 2, 1}},
    };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        struct wp_candidate list[6];
        fill(list);
        struct wp_spot spot = {.place = table[i].place, .measured = table[i].measured};
        assert_true(wp_places_rank(&spot, table[i].first, table[i].second, list, 6));
        for (size_t k = 0; k < 6; k++)
            if (list[k].id != table[i].order[k])
                fail_msg("case %zu: place %zu holds printer %ld, not %ld", i, k, (long)list[k].id,
                         (long)table[i].order[k]);
    }
}

static void another_room_is_asked_unless_the_printer_is_named(void **state)
{
    (void)state;
    struct wp_candidate list[6];
    fill(list);
    struct wp_spot spot = {.place = "Science/2/214/bench C"};
    assert_true(wp_places_rank(&spot, 1, 0, list, 6));
    for (size_t i = 0; i < 6; i++)
        assert_int_equal(wp_candidate_unasked(&list[i]), list[i].id != 2);
}

static void ranking_nothing_is_harmless(void **state)
{
    (void)state;
    struct wp_spot spot = {.place = "Science"};
    assert_true(wp_places_rank(&spot, 0, 0, NULL, 0));
}

static void a_place_is_said_as_people_say_it(void **state)
{
    (void)state;
    static const struct {
        const char *path;
        enum wp_near near;
        const char *words;
    } table[] = {
        {"Science/2/216/bench D", WP_NEAR_FLOOR, "room 216"},
        {"Science/2/216", WP_NEAR_BUILDING, "room 216"},
        {"Science/2/216", WP_NEAR_ELSEWHERE, "room 216, Science"},
        {"Science/2/Lab 3", WP_NEAR_FLOOR, "Lab 3"},
        {"Science/2", WP_NEAR_FLOOR, "2, Science"},
        {"Store", WP_NEAR_ELSEWHERE, "Store"},
        {"", WP_NEAR_ELSEWHERE, ""},
    };
    char words[WP_PLACE_ROOM];
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        wp_place_words(table[i].path, table[i].near, words, sizeof words);
        assert_string_equal(words, table[i].words);
    }
    wp_place_words("Science/2/216", WP_NEAR_ELSEWHERE, words, 8);
    assert_string_equal(words, "room 21");
    wp_place_words("Science/2", WP_NEAR_FLOOR, words, 4);
    assert_string_equal(words, "2, ");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_typed_path_is_trimmed_and_joined),
        cmocka_unit_test(what_is_no_path_is_refused),
        cmocka_unit_test(nearness_counts_common_parts),
        cmocka_unit_test(ranking_follows_names_then_place_then_metres_then_id),
        cmocka_unit_test(another_room_is_asked_unless_the_printer_is_named),
        cmocka_unit_test(ranking_nothing_is_harmless),
        cmocka_unit_test(a_place_is_said_as_people_say_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
