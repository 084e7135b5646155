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
#include "base/config.h"
#include "base/embed.h"

WP_EMBEDDED(test_embed);

static const struct wp_config_key keys[] = {
    {"web", "listen", WP_CONFIG_TEXT, 1, 20, "127.0.0.1:8080", "", "Where to listen."},
    {"web", "idle", WP_CONFIG_DURATION, WP_SECOND, WP_HOUR, "90 s", "", "Idle connections end."},
    {"web", "body", WP_CONFIG_SIZE, 1, 1 << 30, "64 MiB", "", "The largest body."},
    {"print", "jobs", WP_CONFIG_INT, 1, 64, "4", "jobs", "Jobs at a time."},
    {"print", "duplex", WP_CONFIG_BOOL, 0, 0, "no", "", "Print on both sides."},
};
#define KEYS (sizeof keys / sizeof keys[0])

/* Reads `text` as a file; its outcome and error. */
static enum wp_status read_text(const char *text, struct wp_config **config, struct wp_error *error)
{
    char path[] = "/tmp/wp-config-XXXXXX";
    int file = mkstemp(path);
    assert_true(file >= 0);
    assert_int_equal(write(file, text, strlen(text)), strlen(text));
    (void)close(file);
    assert_int_equal(wp_config_new(keys, KEYS, config, error), WP_OK);
    enum wp_status status = wp_config_read(*config, path, error);
    (void)unlink(path);
    return status;
}

static void assert_refused(const char *text, long line, const char *reason)
{
    struct wp_config *config;
    struct wp_error error = {0};
    assert_int_equal(read_text(text, &config, &error), WP_INVALID);
    assert_non_null(strstr(error.text, "/tmp/wp-config-"));
    if (!strstr(error.text, reason))
        fail_msg("\"%s\" does not say \"%s\"", error.text, reason);
    assert_int_equal(error.line, line);
    wp_config_free(config);
}

static void values_are_read_in_their_units(void **state)
{
    (void)state;
    struct wp_config *config;
    struct wp_error error;
    assert_int_equal(read_text("\xEF\xBB\xBF# a comment\n[web]\nlisten = [::1]:443 ; here\n"
                               "  idle=2 min\nbody = 1 GiB\n\n[print]\nduplex = yes\n",
                               &config, &error),
                     WP_OK);
    assert_string_equal(wp_config_text(config, "web", "listen"), "[::1]:443");
    assert_int_equal(wp_config_int(config, "web", "idle"), 2 * WP_MINUTE);
    assert_int_equal(wp_config_int(config, "web", "body"), 1 << 30);
    assert_int_equal(wp_config_int(config, "print", "jobs"), 4);
    assert_true(wp_config_bool(config, "print", "duplex"));
    assert_int_equal(wp_config_set(config, "print", "jobs", "8", &error), WP_OK);
    assert_int_equal(wp_config_int(config, "print", "jobs"), 8);
    wp_config_free(config);
}

static void what_the_table_does_not_hold_is_refused_with_its_line(void **state)
{
    (void)state;
    assert_refused("[web]\nlisten = a\nlisen = b\n", 3, "[web] has no key \"lisen\"");
    assert_refused("\n[wbe]\nlisten = a\n", 3, "there is no section [wbe]");
    assert_refused("listen = a\n", 1, "stands before the first [section]");
    assert_refused("[web]\nlisten = a\n\nlisten = b\n", 4, "given before");
    assert_refused("[web]\nlisten\n", 2, "neither");
    assert_refused("[web\n", 1, "neither");
}

static void bad_values_are_refused_with_the_reason(void **state)
{
    (void)state;
    assert_refused("[web]\nlisten = 123456789012345678901\n", 2, "must have 1 to 20 bytes");
    assert_refused("[web]\nlisten =\n", 2, "must have 1 to 20 bytes");
    assert_refused("[web]\nlisten = \xFF\n", 2, "is not UTF-8");
    assert_refused("[web]\nlisten = a\x01z\n", 2, "control character");
    assert_refused("[web]\nidle = 90\n", 2, "whole number and us, ms, s");
    assert_refused("[web]\nidle = 2 hours\n", 2, "whole number and us, ms, s");
    assert_refused("[web]\nidle = 2 h\n", 2, "between 1 s and 1 h");
    assert_refused("[web]\nidle = 99999999999999999999 s\n", 2, "between 1 s and 1 h");
    assert_refused("[web]\nidle = 9223372036854775807 d\n", 2, "between 1 s and 1 h");
    assert_refused("[web]\nbody = 2 GiB\n", 2, "between 1 B and 1 GiB");
    assert_refused("[web]\nbody = 1 MB\n", 2, "whole number and B, KiB");
    assert_refused("[print]\njobs = 0\n", 2, "between 1 jobs and 64 jobs");
    assert_refused("[print]\njobs = four\n", 2, "must be a whole number");
    assert_refused("[print]\njobs = 4.5\n", 2, "must be a whole number");
    assert_refused("[print]\nduplex = true\n", 2, "must be yes or no");
}

static void a_line_too_long_is_refused_not_cut(void **state)
{
    (void)state;
    char text[400] = "[web]\nlisten = ";
    memset(text + strlen(text), 'x', 300);
    assert_refused(text, 2, "too long");
    strcat(text, "\n");
    assert_refused(text, 2, "too long");
}

static void a_missing_file_and_a_bad_table_are_told(void **state)
{
    (void)state;
    struct wp_config *config;
    struct wp_error error;
    assert_int_equal(wp_config_new(keys, KEYS, &config, &error), WP_OK);
    assert_int_equal(wp_config_read(config, "/nonexistent/wavepost.conf", &error), WP_NOT_FOUND);
    assert_non_null(strstr(error.text, "/nonexistent/wavepost.conf"));
    wp_config_free(config);
    static const struct wp_config_key bad = {"a", "b", WP_CONFIG_INT, 1, 2, "3", "", "Wrong."};
    assert_int_equal(wp_config_new(&bad, 1, &config, &error), WP_INVALID);
    assert_null(config);
}

static void the_description_is_itself_a_valid_file(void **state)
{
    (void)state;
    struct wp_bytes text;
    struct wp_config *config;
    struct wp_error error = {0};
    wp_bytes_init(&text, 4096);
    assert_int_equal(wp_config_describe(keys, KEYS, &text), WP_OK);
    assert_non_null(strstr(text.data, "# from 1 s to 1 h\nidle = 90 s\n"));
    assert_int_equal(read_text(text.data, &config, &error), WP_OK);
    assert_string_equal(wp_config_text(config, "web", "listen"), "127.0.0.1:8080");
    wp_config_free(config);
    wp_bytes_release(&text);
}

static void embedded_files_are_the_files(void **state)
{
    (void)state;
    assert_int_equal(test_embed_count, 2);
    assert_string_equal(test_embed_files[0].name, "CMakeLists.txt");
    assert_string_equal(test_embed_files[1].name, "config_test.c");
    FILE *file = fopen(EMBEDDED_FROM "/config_test.c", "r");
    assert_non_null(file);
    static char text[65536];
    size_t size = fread(text, 1, sizeof text, file);
    (void)fclose(file);
    assert_int_equal(test_embed_files[1].size, size);
    assert_memory_equal(test_embed_files[1].data, text, size);
    assert_int_equal(test_embed_files[1].data[size], 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_are_read_in_their_units),
        cmocka_unit_test(what_the_table_does_not_hold_is_refused_with_its_line),
        cmocka_unit_test(bad_values_are_refused_with_the_reason),
        cmocka_unit_test(a_line_too_long_is_refused_not_cut),
        cmocka_unit_test(a_missing_file_and_a_bad_table_are_told),
        cmocka_unit_test(the_description_is_itself_a_valid_file),
        cmocka_unit_test(embedded_files_are_the_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
