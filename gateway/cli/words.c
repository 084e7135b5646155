#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli.h"

int wp_cli_fail(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    fputs("wavepost: ", stderr);
    vfprintf(stderr, format, arguments);
    fputc('\n', stderr);
    va_end(arguments);
    return WP_EXIT_FAILED;
}

int wp_cli_usage(const char *text)
{
    fprintf(stderr, "wavepost: %s; see wavepost --help\n", text);
    return WP_EXIT_USAGE;
}

static struct wp_option *find(const struct wp_words *words, const char *name, size_t length)
{
    for (struct wp_option *option = words->options; option->name; option++)
        if (strlen(option->name) == length && !strncmp(option->name, name, length))
            return option;
    return NULL;
}

static bool take_option(int argc, char **argv, int *at, struct wp_words *words)
{
    const char *text = argv[*at] + (argv[*at][1] == '-' ? 2 : 1);
    const char *equals = strchr(text, '=');
    size_t length = equals ? (size_t)(equals - text) : strlen(text);
    struct wp_option *option = find(words, text, length);
    if (!option || (option->flag && equals)) {
        fprintf(stderr, "wavepost: unknown option %s; see wavepost --help\n", argv[*at]);
        return false;
    }
    if (option->flag) {
        option->value = "";
    } else if (equals) {
        option->value = equals + 1;
    } else if (*at + 1 < argc) {
        option->value = argv[++*at];
    } else {
        fprintf(stderr, "wavepost: %s needs a value\n", argv[*at]);
        return false;
    }
    return true;
}

bool wp_words_parse(int argc, char **argv, int from, struct wp_words *words, size_t most)
{
    bool options = true;
    words->count = 0;
    for (int i = from; i < argc; i++) {
        if (options && !strcmp(argv[i], "--")) {
            options = false;
        } else if (options && argv[i][0] == '-' && argv[i][1]) {
            if (!take_option(argc, argv, &i, words))
                return false;
        } else if (words->count < most) {
            words->words[words->count++] = argv[i];
        } else {
            fprintf(stderr, "wavepost: \"%s\" is one word too many\n", argv[i]);
            return false;
        }
    }
    return true;
}

const char *wp_words_value(const struct wp_words *words, const char *name)
{
    struct wp_option *option = find(words, name, strlen(name));
    return option ? option->value : NULL;
}

static enum wp_status read_all(int file, size_t limit, struct wp_bytes *out)
{
    for (;;) {
        char chunk[65536];
        ssize_t got = read(file, chunk, sizeof chunk);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return WP_IO;
        if (got == 0)
            return WP_OK;
        if (out->size + (size_t)got > limit)
            return WP_TOO_LARGE;
        enum wp_status status = wp_bytes_add(out, chunk, (size_t)got);
        if (status)
            return status;
    }
}

enum wp_status wp_cli_load(const char *path, size_t limit, struct wp_bytes *out,
                           struct wp_error *error)
{
    struct stat status;
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return wp_fail(error, errno == ENOENT ? WP_NOT_FOUND : WP_IO, "%s", strerror(errno));
    if (fstat(file, &status) == 0 && S_ISDIR(status.st_mode)) {
        (void)close(file);
        return wp_fail(error, WP_INVALID, "This is a folder.");
    }
    bool large = S_ISREG(status.st_mode) && (size_t)status.st_size > limit;
    wp_bytes_init(out, limit);
    enum wp_status outcome = large ? WP_TOO_LARGE : read_all(file, limit, out);
    (void)close(file);
    if (outcome == WP_TOO_LARGE)
        return wp_fail(error, outcome, "The file is larger than %zu MiB.", limit >> 20);
    if (outcome)
        return wp_fail(error, outcome, "The file cannot be read.");
    return WP_OK;
}

enum wp_status wp_cli_save(const char *path, const void *data, size_t size, struct wp_error *error)
{
    char part[4096];
    int length = snprintf(part, sizeof part, "%s.part%ld", path, (long)getpid());
    if (length < 0 || (size_t)length >= sizeof part)
        return wp_fail(error, WP_INVALID, "The file name is too long.");
    FILE *file = fopen(part, "wbx");
    if (!file)
        return wp_fail(error, WP_IO, "%s: %s.", path, strerror(errno));
    bool wrote = fwrite(data, 1, size, file) == size;
    if (fclose(file) != 0 || !wrote || rename(part, path) != 0) {
        int reason = errno;
        (void)unlink(part);
        return wp_fail(error, WP_IO, "%s: %s.", path, strerror(reason));
    }
    return WP_OK;
}
