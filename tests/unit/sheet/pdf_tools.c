#include "pdf_tools.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

char *pdf_save(const struct wp_bytes *bytes)
{
    char *path = strdup("/tmp/sheet-test-XXXXXX");
    assert_non_null(path);
    int file = mkstemp(path);
    assert_true(file >= 0);
    FILE *out = fdopen(file, "wb");
    assert_non_null(out);
    assert_int_equal(fwrite(bytes->data, 1, bytes->size, out), bytes->size);
    assert_int_equal(fclose(out), 0);
    return path;
}

char *pdf_run(const char *tool, const char *path, const char *more)
{
    char command[256];
    snprintf(command, sizeof command, "%s '%s' %s 2>&1", tool, path, more);
    FILE *pipe = popen(command, "r");
    assert_non_null(pipe);
    struct wp_bytes text;
    wp_bytes_init(&text, 4 << 20);
    char block[4096];
    for (size_t size; (size = fread(block, 1, sizeof block, pipe)) > 0;)
        assert_int_equal(wp_bytes_add(&text, block, size), WP_OK);
    int status = pclose(pipe);
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0)
        fail_msg("%s ended with %d: %s", tool, WEXITSTATUS(status), text.data ? text.data : "");
    assert_int_equal(wp_bytes_add_text(&text, ""), WP_OK);
    char *taken = wp_bytes_take(&text, NULL);
    return taken ? taken : strdup("");
}

char *pdf_tool(const struct wp_bytes *bytes, const char *tool, const char *more)
{
    char *path = pdf_save(bytes);
    char *text = pdf_run(tool, path, more);
    unlink(path);
    free(path);
    return text;
}
