#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "people/ask.h"

static cJSON *query, *body;
static struct wp_ask ask;

static int set_up(void **state)
{
    (void)state;
    query = cJSON_Parse("{\"before\":\"17\",\"flag\":\"yes\",\"both\":\"query\"}");
    body = cJSON_Parse("{\"id\":9007199254740992,\"half\":1.5,\"huge\":1e300,\"text\":\"x\","
                       "\"both\":\"body\",\"number\":\"12a\"}");
    ask = (struct wp_ask){.query = query, .body = body, .param = {"42", "-1", "4 2", NULL}};
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    cJSON_Delete(query);
    cJSON_Delete(body);
    return 0;
}

static void whole_numbers_are_whole_and_exact(void **state)
{
    (void)state;
    int64_t value = 0;
    assert_true(wp_ask_int(&ask, "id", &value));
    assert_int_equal(value, INT64_C(9007199254740992));
    assert_true(wp_ask_int(&ask, "before", &value));
    assert_int_equal(value, 17);
    assert_false(wp_ask_int(&ask, "half", &value));
    assert_false(wp_ask_int(&ask, "huge", &value));
    assert_false(wp_ask_int(&ask, "number", &value));
    assert_false(wp_ask_int(&ask, "absent", &value));
}

static void body_goes_before_query(void **state)
{
    (void)state;
    assert_string_equal(wp_ask_text(&ask, "both"), "body");
    assert_null(wp_ask_text(&ask, "id"));
    assert_true(wp_ask_flag(&ask, "flag"));
    assert_false(wp_ask_flag(&ask, "text"));
}

static void parameters_are_positive(void **state)
{
    (void)state;
    int64_t value = 0;
    assert_true(wp_ask_param_int(&ask, 0, &value));
    assert_int_equal(value, 42);
    assert_false(wp_ask_param_int(&ask, 1, &value));
    assert_false(wp_ask_param_int(&ask, 2, &value));
    assert_false(wp_ask_param_int(&ask, 3, &value));
    assert_false(wp_ask_param_int(&ask, 9, &value));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(whole_numbers_are_whole_and_exact, set_up, tear_down),
        cmocka_unit_test_setup_teardown(body_goes_before_query, set_up, tear_down),
        cmocka_unit_test_setup_teardown(parameters_are_positive, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
