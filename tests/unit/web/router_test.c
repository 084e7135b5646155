#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "web/events.h"
#include "web/route.h"

static void custom(struct wp_request *request)
{
    (void)request;
}

#define ROW(m, p)                                                                                  \
    {                                                                                              \
        .method = (m), .path = (p), .scope = WP_SCOPE_PUBLIC, .custom = custom, .summary = "x"     \
    }

static const struct wp_route rows[] = {
    ROW("GET", "/"),
    ROW("GET", "/:file"),
    ROW("GET", "/api/v1/measurements"),
    ROW("GET", "/api/v1/measurements/:id"),
    ROW("DELETE", "/api/v1/measurements/:id"),
    ROW("GET", "/api/v1/measurements/newest"),
    ROW("POST", "/api/v1/sections/:id/experiments/:code"),
};

static int make(void **state)
{
    struct wp_router *router = NULL;
    if (wp_router_new(rows, sizeof rows / sizeof rows[0], &router, NULL))
        return -1;
    *state = router;
    return 0;
}

static int unmake(void **state)
{
    wp_router_free(*state);
    return 0;
}

static void paths_lead_to_their_rows_with_decoded_parameters(void **state)
{
    struct wp_match match;
    assert_int_equal(wp_router_match(*state, "GET", "/", &match), WP_OK);
    assert_ptr_equal(match.route, &rows[0]);
    assert_int_equal(wp_router_match(*state, "GET", "/style.css", &match), WP_OK);
    assert_ptr_equal(match.route, &rows[1]);
    assert_string_equal(match.param[0], "style.css");
    assert_int_equal(
        wp_router_match(*state, "POST", "/api/v1/sections/12/experiments/a%2Fb%20c", &match),
        WP_OK);
    assert_string_equal(match.param[0], "12");
    assert_string_equal(match.param[1], "a/b c");
    assert_null(match.param[2]);
}

static void a_literal_segment_goes_before_a_parameter(void **state)
{
    struct wp_match match;
    assert_int_equal(wp_router_match(*state, "GET", "/api/v1/measurements/newest", &match), WP_OK);
    assert_ptr_equal(match.route, &rows[5]);
    assert_int_equal(wp_router_match(*state, "GET", "/api/v1/measurements/5", &match), WP_OK);
    assert_ptr_equal(match.route, &rows[3]);
}

static void head_is_answered_where_get_is(void **state)
{
    struct wp_match match;
    assert_int_equal(wp_router_match(*state, "HEAD", "/api/v1/measurements", &match), WP_OK);
    assert_ptr_equal(match.route, &rows[2]);
}

static void a_wrong_method_names_the_right_ones(void **state)
{
    struct wp_match match;
    assert_int_equal(wp_router_match(*state, "PUT", "/api/v1/measurements/5", &match),
                     WP_NOT_FOUND);
    assert_null(match.route);
    assert_non_null(strstr(match.allow, "GET, HEAD"));
    assert_non_null(strstr(match.allow, "DELETE"));
    assert_int_equal(wp_router_match(*state, "GET", "/nothing/here", &match), WP_NOT_FOUND);
    assert_string_equal(match.allow, "");
}

static void malformed_and_endless_paths_are_refused(void **state)
{
    struct wp_match match;
    assert_int_equal(wp_router_match(*state, "GET", "/%zz", &match), WP_INVALID);
    assert_int_equal(wp_router_match(*state, "GET", "/a%00b", &match), WP_INVALID);
    assert_int_equal(wp_router_match(*state, "GET", "*", &match), WP_INVALID);
    assert_int_equal(wp_router_match(*state, "GET", "/1/2/3/4/5/6/7/8/9", &match), WP_NOT_FOUND);
    assert_int_equal(wp_router_match(*state, "GET", "//api", &match), WP_NOT_FOUND);
    char path[WP_PATH_MOST + 3];
    memset(path, 'a', sizeof path);
    path[0] = '/';
    path[sizeof path - 1] = '\0';
    assert_int_equal(wp_router_match(*state, "GET", path, &match), WP_TOO_LARGE);
}

static void refused(struct wp_route row, const char *why)
{
    struct wp_router *router = NULL;
    struct wp_error error = {0};
    assert_int_equal(wp_router_new(&row, 1, &router, &error), WP_INVALID);
    assert_null(router);
    assert_non_null(strstr(error.text, why));
}

static void a_row_without_a_rule_does_not_start(void **state)
{
    (void)state;
    struct wp_route row = ROW("GET", "/x");
    row.scope = WP_SCOPE_UNSET;
    refused(row, "no scope");
    row.scope = WP_SCOPE_ANY;
    refused(row, "no role");
    row.roles = WP_ROLE_STUDENT;
    row.scope = WP_SCOPE_SECTION;
    refused(row, "parameter it does not have");
    row.scope = WP_SCOPE_ANY;
    row.custom = NULL;
    refused(row, "exactly one");
}

static void two_rows_may_not_say_the_same(void **state)
{
    (void)state;
    const struct wp_route twice[] = {ROW("GET", "/a/:id"), ROW("GET", "/a/:other")};
    struct wp_router *router = NULL;
    assert_int_equal(wp_router_new(twice, 2, &router, NULL), WP_INVALID);
}

static void the_real_table_starts(void **state)
{
    (void)state;
    struct wp_router *router = NULL;
    struct wp_error error = {0};
    enum wp_status status = wp_router_new(wp_routes, wp_route_count, &router, &error);
    assert_string_equal(error.text, "");
    assert_int_equal(status, WP_OK);
    wp_router_free(router);
}

static void only_pages_sign_in_and_joining_are_public(void **state)
{
    (void)state;
    for (size_t i = 0; i < wp_route_count; i++) {
        const struct wp_route *row = &wp_routes[i];
        bool api = !strncmp(row->path, "/api/", 5);
        bool known = strstr(row->path, "/session") || strstr(row->path, "/join") ||
                     strstr(row->path, "/sign-in") || strstr(row->path, "/bench/enrol") ||
                     !strcmp(row->path, "/api/v1/me");
        if (row->scope == WP_SCOPE_PUBLIC && api && !known)
            fail_msg("%s %s is public", row->method, row->path);
    }
}

static void topics_are_named_with_their_ids(void **state)
{
    (void)state;
    const char *id = NULL;
    assert_non_null(wp_topic_find("section:12", &id));
    assert_string_equal(id, "12");
    assert_non_null(wp_topic_find("fleet", &id));
    assert_null(id);
    static const char *const wrong[] = {"section", "section:",   "section:1a", "section:-1",
                                        "fleet:1", "sections:1", "",           "section:1,fleet"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        assert_null(wp_topic_find(wrong[i], &id));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(paths_lead_to_their_rows_with_decoded_parameters, make,
                                        unmake),
        cmocka_unit_test_setup_teardown(a_literal_segment_goes_before_a_parameter, make, unmake),
        cmocka_unit_test_setup_teardown(head_is_answered_where_get_is, make, unmake),
        cmocka_unit_test_setup_teardown(a_wrong_method_names_the_right_ones, make, unmake),
        cmocka_unit_test_setup_teardown(malformed_and_endless_paths_are_refused, make, unmake),
        cmocka_unit_test(a_row_without_a_rule_does_not_start),
        cmocka_unit_test(two_rows_may_not_say_the_same),
        cmocka_unit_test(the_real_table_starts),
        cmocka_unit_test(only_pages_sign_in_and_joining_are_public),
        cmocka_unit_test(topics_are_named_with_their_ids),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
