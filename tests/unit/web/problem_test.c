#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cjson/cJSON.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"
#include "problem.h"

static void every_outcome_has_its_status_code(void **state)
{
    (void)state;
    struct wp_error silent = {0};
    struct wp_error spoken = {.text = "Too many tries; wait a minute."};
    assert_int_equal(wp_problem_code(WP_NOT_FOUND, NULL), 404);
    assert_int_equal(wp_problem_code(WP_DENIED, NULL), 403);
    assert_int_equal(wp_problem_code(WP_CONFLICT, NULL), 409);
    assert_int_equal(wp_problem_code(WP_CONSTRAINT, NULL), 409);
    assert_int_equal(wp_problem_code(WP_TOO_LARGE, NULL), 413);
    assert_int_equal(wp_problem_code(WP_INVALID, NULL), 422);
    assert_int_equal(wp_problem_code(WP_RETRY, &silent), 503);
    assert_int_equal(wp_problem_code(WP_RETRY, &spoken), 429);
    assert_int_equal(wp_problem_code(WP_NO_MEMORY, NULL), 503);
    assert_int_equal(wp_problem_code(WP_FULL, NULL), 507);
    assert_int_equal(wp_problem_code(WP_BROKEN, NULL), 500);
    assert_int_equal(wp_problem_code(WP_IO, NULL), 500);
}

/* Members by RFC 9457, section 3.1; line, column and limit are extension members (3.2). */
static void a_problem_has_the_members_of_rfc_9457(void **state)
{
    (void)state;
    struct wp_error place = {.line = 7, .column = 3};
    char *text = wp_problem_json(422, WP_INVALID, "Line 7 is \"wrong\".", "/api/v1/x", &place, 99);
    cJSON *json = cJSON_Parse(text);
    assert_non_null(json);
    assert_string_equal(cJSON_GetObjectItem(json, "type")->valuestring, "about:blank");
    assert_string_equal(cJSON_GetObjectItem(json, "title")->valuestring, "Unprocessable Content");
    assert_int_equal(cJSON_GetObjectItem(json, "status")->valueint, 422);
    assert_string_equal(cJSON_GetObjectItem(json, "detail")->valuestring, "Line 7 is \"wrong\".");
    assert_string_equal(cJSON_GetObjectItem(json, "instance")->valuestring, "/api/v1/x");
    assert_int_equal(cJSON_GetObjectItem(json, "line")->valueint, 7);
    assert_int_equal(cJSON_GetObjectItem(json, "column")->valueint, 3);
    assert_int_equal(cJSON_GetObjectItem(json, "limit")->valueint, 99);
    cJSON_Delete(json);
    free(text);
}

static void members_that_are_not_known_are_left_out(void **state)
{
    (void)state;
    char *text = wp_problem_json(404, WP_OK, "", NULL, NULL, 0);
    cJSON *json = cJSON_Parse(text);
    assert_int_equal(cJSON_GetArraySize(json), 3);
    cJSON_Delete(json);
    free(text);
}

static void a_problem_page_escapes_what_it_shows(void **state)
{
    (void)state;
    char *html = wp_problem_html(409, "<script>alert('x')</script>", "/bench?a=1&b=\"2\"");
    assert_non_null(strstr(html, "&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;"));
    assert_non_null(strstr(html, "href=\"/bench?a=1&amp;b=&quot;2&quot;\""));
    assert_null(strstr(html, "<script>"));
    free(html);
    html = wp_problem_html(404, "Nothing.", NULL);
    assert_non_null(strstr(html, "href=\"/\""));
    free(html);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_outcome_has_its_status_code),
        cmocka_unit_test(a_problem_has_the_members_of_rfc_9457),
        cmocka_unit_test(members_that_are_not_known_are_left_out),
        cmocka_unit_test(a_problem_page_escapes_what_it_shows),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
