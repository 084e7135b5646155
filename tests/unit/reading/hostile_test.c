/* Counts and nestings that are meant to hurt are refused at once. */
#include <time.h>

#include "reading_fixture.h"

static void refuse_like(const char *text, enum wp_status status, long line, const char *words)
{
    struct wp_reading r = read_bad(text, status);
    assert_int_equal(r.error.line, line);
    if (!strstr(r.error.text, words))
        fail_msg("%s", r.error.text);
    assert_int_equal(r.spectrum_count, 0);
    wp_reading_release(&r);
}

#define RANGE "##FIRSTX=1\n##LASTX=5\n##NPOINTS=5\n"

static void huge_counts_are_refused_by_name(void **state)
{
    (void)state;
    refuse_like(block(RANGE, "##XYDATA=(X++(Y..Y))\n1A\n2AS000000000"), WP_TOO_LARGE, 15,
                "repeat count");
    refuse_like(block(RANGE, "##XYDATA=(X++(Y..Y))\n1AJs99999999999999999999999999"), WP_TOO_LARGE,
                14, "repeat count");
    refuse_like(
        block("##FIRSTX=1\n##LASTX=5\n##NPOINTS=1000000000000\n", "##XYDATA=(X++(Y..Y))\n1 1 2 3"),
        WP_TOO_LARGE, 12, "NPOINTS");
    refuse_like(block("##FIRSTX=1\n##LASTX=5\n##NPOINTS=1E300\n", "##XYDATA=(X++(Y..Y))\n1 1 2 3"),
                WP_TOO_LARGE, 12, "NPOINTS");
}

static void a_false_count_below_the_limit_is_only_a_warning(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(block("##FIRSTX=1\n##LASTX=10000000\n##NPOINTS=10000000\n",
                                        "##XYDATA=(X++(Y..Y))\n1 1 2 3\n4 4 5"));
    assert_int_equal(r.spectra[0].count, 5);
    assert_true(warned(&r, "NPOINTS", "the table has 5"));
    wp_reading_release(&r);
}

static void deep_nesting_is_refused(void **state)
{
    (void)state;
    char text[8192] = "";
    for (int i = 0; i < 100; i++)
        (void)strcat(text, "##TITLE=l\n##DATA TYPE=LINK\n");
    refuse_like(text, WP_TOO_LARGE, 17, "nested");
}

static void damaged_tables_are_told_with_line_and_column(void **state)
{
    (void)state;
    struct wp_reading r =
        read_bad(block(RANGE, "##XYDATA=(X++(Y..Y))\n1 1 2 3\n4 4 t5"), WP_INVALID);
    assert_int_equal(r.error.line, 15);
    assert_int_equal(r.error.column, 5);
    wp_reading_release(&r);
    refuse_like(block(RANGE, "##XYDATA=(X++(Y..Y))\n0 J"), WP_INVALID, 14, "difference without");
    refuse_like(block(RANGE, "##XYDATA=(X++(Y..Y))\n0 S3"), WP_INVALID, 14, "repeat count without");
    refuse_like(block(RANGE, "##XYDATA=(X++(Y..Y))\nabc"), WP_INVALID, 14, "abscissa");
    refuse_like(block(RANGE, "##XYDATA=(X++(Y..Y))"), WP_INVALID, 13, "no ordinates");
    refuse_like(block("", "##XYPOINTS=(XY..XY)\n1,2 3"), WP_INVALID, 11, "without an ordinate");
    refuse_like(block("", "##XYPOINTS=(XY..XY)\n1,2 x,3"), WP_INVALID, 11, "not a number");
    refuse_like(block("##FIRSTX=1\n##LASTX=1\n##NPOINTS=3\n", "##XYDATA=(X++(Y..Y))\n1 1 2 3"),
                WP_INVALID, 13, "equal");
    refuse_like("##TITLE=nothing\n##END=\n", WP_INVALID, 1, "no table");
}

static void whole_blocks_before_an_error_are_kept(void **state)
{
    (void)state;
    char text[8192];
    char good[2048];
    (void)snprintf(good, sizeof good, "%s", block(RANGE, "##XYDATA=(X++(Y..Y))\n1 1 2 3 4 5"));
    (void)snprintf(text, sizeof text, "%s%s", good, block(RANGE, "##XYDATA=(X++(Y..Y))\n1 1 2 w"));
    struct wp_reading r = read_bad(text, WP_INVALID);
    assert_int_equal(r.spectrum_count, 1);
    assert_int_equal(r.spectra[0].count, 5);
    wp_reading_release(&r);
}

static void what_is_no_spectrum_is_refused(void **state)
{
    (void)state;
    struct wp_reading r;
    assert_int_equal(wp_read("", 0, NULL, &r), WP_INVALID);
    wp_reading_release(&r);
    assert_int_equal(wp_read("PK\3\4\0\0\0\0\0\0\0\0", 12, NULL, &r), WP_INVALID);
    wp_reading_release(&r);
    static const char *const texts[] = {"hello\n", "a,b\nc,d\n",           "1\n2\n3\n4\n",
                                        "1,2\n",   "5,1\n3,2\n9,3\n1,4\n", "{\"x\":[1,2,3]}\n"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        r = read_bad(texts[i], WP_INVALID);
        wp_reading_release(&r);
    }
    struct wp_read_limits limits = wp_read_limits_default;
    limits.bytes = 10;
    assert_int_equal(wp_read("1,2\n2,3\n3,4\n", 12, &limits, &r), WP_TOO_LARGE);
    wp_reading_release(&r);
}

/* Time that grows with the square of the size would need minutes here; five seconds is plenty. */
static void adversarial_text_takes_linear_time(void **state)
{
    (void)state;
    static const char *const parts[] = {"##A=\n", "##TITLE=x\n##JCAMP-DX=5\n##END=\n",
                                        "#",      "##",
                                        " ##x\n", "1,2\n\n",
                                        "\"",     "1;",
                                        "$$\n",   "9",
                                        "\r",     "AJT"};
    size_t size = (size_t)8 << 20;
    char *text = malloc(size + 64);
    assert_non_null(text);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        size_t length = strlen(parts[i]);
        size_t used = (size_t)sprintf(text, "%s", i % 2 ? "" : "##TITLE=t\n");
        while (used + length <= size) {
            memcpy(text + used, parts[i], length);
            used += length;
        }
        clock_t begin = clock();
        struct wp_reading r;
        (void)wp_read(text, used, NULL, &r);
        wp_reading_release(&r);
        double seconds = (double)(clock() - begin) / CLOCKS_PER_SEC;
        if (seconds > 5.0)
            fail_msg("\"%s\" again and again took %.1f s", parts[i], seconds);
    }
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(huge_counts_are_refused_by_name),
        cmocka_unit_test(a_false_count_below_the_limit_is_only_a_warning),
        cmocka_unit_test(deep_nesting_is_refused),
        cmocka_unit_test(damaged_tables_are_told_with_line_and_column),
        cmocka_unit_test(whole_blocks_before_an_error_are_kept),
        cmocka_unit_test(what_is_no_spectrum_is_refused),
        cmocka_unit_test(adversarial_text_takes_linear_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
