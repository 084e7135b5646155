/* Ghostscript as a child process. */
#include "convert.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "base/clock.h"

enum { PATH_ROOM = 512 };

static const char *device_of(const char *language)
{
    if (strcmp(language, "postscript") == 0)
        return "ps2write";
    return strcmp(language, "pcl") == 0 ? "ljet4" : NULL;
}

bool wp_convert_knows(const char *language)
{
    return strcmp(language, "pdf") == 0 || device_of(language) != NULL;
}

/* A new file with a name of its own; -1 on failure. */
static int make_file(const char *folder, char path[PATH_ROOM])
{
    int size = snprintf(path, PATH_ROOM, "%s/sheet-XXXXXX", folder);
    path[0] = size < 0 || size >= PATH_ROOM ? '\0' : path[0];
    return path[0] == '\0' ? -1 : mkostemp(path, O_CLOEXEC);
}

static bool write_file(int fd, const struct wp_bytes *bytes)
{
    for (size_t at = 0; at < bytes->size;) {
        ssize_t done = write(fd, bytes->data + at, bytes->size - at);
        if (done < 0 && errno != EINTR)
            return false;
        at += done > 0 ? (size_t)done : 0;
    }
    return true;
}

/* Appends what stands in the file, from its beginning. */
static enum wp_status read_file(int fd, struct wp_bytes *out)
{
    char piece[65536];
    off_t at = 0;
    for (;;) {
        ssize_t size = pread(fd, piece, sizeof piece, at);
        if (size < 0)
            return WP_IO;
        if (size == 0)
            return WP_OK;
        enum wp_status status = wp_bytes_add(out, piece, (size_t)size);
        if (status)
            return status;
        at += size;
    }
}

/* True if the child ended by itself with status 0 within 30 s; else it is killed. */
static bool ended_well(pid_t child)
{
    int64_t end = wp_clock_steady() + 30 * WP_SECOND;
    for (;;) {
        int status;
        pid_t ended = waitpid(child, &status, WNOHANG);
        if (ended == child)
            return WIFEXITED(status) && WEXITSTATUS(status) == 0;
        if (ended < 0 && errno != EINTR)
            return false;
        if (wp_clock_steady() >= end)
            break;
        struct timespec pause = {0, 10 * 1000000};
        (void)nanosleep(&pause, NULL);
    }
    (void)kill(child, SIGKILL);
    (void)waitpid(child, NULL, 0);
    return false;
}

static bool run_gs(const char *device, const char *in, const char *out)
{
    char device_word[64];
    char out_word[PATH_ROOM + 16];
    char in_word[PATH_ROOM];
    snprintf(device_word, sizeof device_word, "-sDEVICE=%s", device);
    snprintf(out_word, sizeof out_word, "-sOutputFile=%s", out);
    snprintf(in_word, sizeof in_word, "%s", in);
    char gs[] = "gs", quiet[] = "-q", safer[] = "-dSAFER", batch[] = "-dBATCH",
         no_pause[] = "-dNOPAUSE", resolution[] = "-r600";
    char *const words[] = {gs,          quiet,    safer,      batch,   no_pause,
                           device_word, out_word, resolution, in_word, NULL};
    posix_spawn_file_actions_t files;
    pid_t child;
    if (posix_spawn_file_actions_init(&files) != 0)
        return false;
    bool started = posix_spawn_file_actions_addopen(&files, 0, "/dev/null", O_RDONLY, 0) == 0 &&
                   posix_spawn_file_actions_addopen(&files, 1, "/dev/null", O_WRONLY, 0) == 0 &&
                   posix_spawn_file_actions_addopen(&files, 2, "/dev/null", O_WRONLY, 0) == 0 &&
                   posix_spawnp(&child, "gs", &files, NULL, words, environ) == 0;
    (void)posix_spawn_file_actions_destroy(&files);
    return started && ended_well(child);
}

static enum wp_status convert(const char *device, const char *folder, struct wp_bytes *bytes)
{
    char in[PATH_ROOM];
    char out[PATH_ROOM];
    struct wp_bytes made;
    wp_bytes_init(&made, bytes->limit);
    int in_fd = make_file(folder, in);
    int out_fd = make_file(folder, out);
    enum wp_status status = in_fd >= 0 && out_fd >= 0 && write_file(in_fd, bytes) ? WP_OK : WP_IO;
    if (!status && !run_gs(device, in, out))
        status = WP_IO;
    if (!status)
        status = read_file(out_fd, &made);
    if (!status && made.size == 0)
        status = WP_IO;
    if (in_fd >= 0) {
        close(in_fd);
        (void)unlink(in);
    }
    if (out_fd >= 0) {
        close(out_fd);
        (void)unlink(out);
    }
    if (!status) {
        wp_bytes_release(bytes);
        *bytes = made;
        return WP_OK;
    }
    wp_bytes_release(&made);
    return status;
}

enum wp_status wp_convert_pdf(const char *language, const char *folder, struct wp_bytes *bytes,
                              struct wp_error *error)
{
    if (strcmp(language, "pdf") == 0)
        return WP_OK;
    const char *device = device_of(language);
    if (device == NULL)
        return wp_fail(error, WP_INVALID, "speaks a language that is not known");
    enum wp_status status = convert(device, folder, bytes);
    return status ? wp_fail(error, status, "needs Ghostscript (gs), which did not do its work")
                  : WP_OK;
}
