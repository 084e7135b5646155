#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"
#include "base/secret.h"
#include "check_parts.h"
#include "platform.h"
#include "tell.h"
#include "walk.h"

#define DISK_LEAST (256LL * 1024 * 1024)
#define FILES_MANY 20000
#define FILES_TRIED 200

static void line(const char *mark, const char *format, va_list arguments)
{
    char text[1024];
    (void)vsnprintf(text, sizeof text, format, arguments);
    printf("%s %s\n", mark, text);
}

void check_well(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    line("ok    ", format, arguments);
    va_end(arguments);
}

void check_note(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    line("note  ", format, arguments);
    va_end(arguments);
}

void check_fault(struct checking *checking, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    line("FAULT ", format, arguments);
    va_end(arguments);
    checking->faults++;
}

/* What a walk finds, and whether files can be opened: the first few tell. */
struct looking {
    const char *root;
    size_t folders;
    unsigned tried, closed;
    char example[256];
};

static bool see_folder(void *arg, const char *path, const struct wp_look *look)
{
    (void)path;
    (void)look;
    ((struct looking *)arg)->folders++;
    return true;
}

static bool see_file(void *arg, const char *path, const struct wp_look *look)
{
    struct looking *looking = arg;
    char whole[WP_SPOOL_PATH];
    (void)look;
    if (looking->tried == FILES_TRIED ||
        (size_t)snprintf(whole, sizeof whole, "%s/%s", looking->root, path) >= sizeof whole)
        return true;
    looking->tried++;
    int file = wp_platform_open(whole);
    if (file >= 0) {
        uv_fs_t request;
        (void)uv_fs_close(NULL, &request, file, NULL);
        uv_fs_req_cleanup(&request);
    } else if (errno == EACCES && !looking->closed++) {
        wp_text_clean(path, strlen(path), looking->example, sizeof looking->example);
    }
    return true;
}

static void say_folder(struct checking *checking, const char *path, const struct wp_walk *walk,
                       const struct looking *looking)
{
    if (!walk->complete)
        check_fault(checking,
                    "Folder %s: some subfolders cannot be read. Give the agent's account the right "
                    "to read them, or leave them out with --exclude.",
                    path);
    if (looking->closed)
        check_fault(checking,
                    "Folder %s: files in it cannot be opened, such as %s. Give the account that "
                    "runs the agent the right to read them, for files made later as well.",
                    path, looking->example);
    if (walk->complete && !looking->closed)
        check_well("Folder %s: readable, %zu files in %zu folders%s", path, walk->files,
                   looking->folders,
                   wp_platform_remote(path)
                       ? "; a network share, so new files are found by walking, within seconds"
                       : "");
    if (walk->files > FILES_MANY)
        check_note("Folder %s holds many files; moving old ones away makes finding new ones "
                   "quicker",
                   path);
}

static void check_folder(struct checking *checking, const struct wp_spool_folder *folder)
{
    struct wp_error error;
    struct looking looking = {.root = folder->path};
    struct wp_walk walk = {.root = folder->path,
                           .patterns = &checking->setup.patterns,
                           .folder = see_folder,
                           .file = see_file,
                           .arg = &looking};
    enum wp_status status = wp_walk(&walk, &error);
    if (status == WP_NOT_FOUND)
        check_fault(checking,
                    "Folder %s is not there. Is the path right, is the share mounted? A service "
                    "sees no drives mapped by a signed-in user and no redirected folders: use the "
                    "share's own path.",
                    folder->path);
    else if (status)
        check_fault(checking,
                    "Folder %s cannot be read: %s. Give the account that runs the agent the right "
                    "to list and read it.",
                    folder->path, error.text);
    else
        say_folder(checking, folder->path, &walk, &looking);
}

static void check_folders(struct checking *checking)
{
    struct wp_spool_folder folder = {.id = 0};
    size_t count = 0;
    for (; wp_spool_next_folder(checking->spool, &folder); count++)
        check_folder(checking, &folder);
    if (!count)
        check_fault(checking, "No folder is watched: wavepost-agent set --watch DIR --state %s",
                    checking->state);
}

/* Where spool and token lie, and whether they will still be there tomorrow. */
static void check_state(struct checking *checking)
{
    char account[64];
    long long disk = wp_platform_disk_free(checking->state);
    if (wp_platform_foreign(checking->state, account, sizeof account))
        check_note("The state folder belongs to %s and this check runs as another account: what it "
                   "may read here, the agent perhaps may not. Run the check as %s.",
                   account, account);
    if (wp_platform_passing(checking->state))
        check_fault(checking,
                    "The state folder %s lies in memory: a restart empties it, and with it spectra "
                    "that wait and the token. Join again with --state on a disk.",
                    checking->state);
    if (disk >= 0 && disk < DISK_LEAST)
        check_fault(checking,
                    "Only %lld MiB are free on the disk of %s. Without room nothing more is taken, "
                    "and files wait in their folder: make room, or join again with --state "
                    "elsewhere.",
                    disk / 1048576, checking->state);
    if (wp_platform_locked(checking->state))
        check_well("The agent is running");
    else
        check_fault(checking,
                    "The agent is not running: start its service (systemctl start "
                    "wavepost-agent@NAME) and see its log. If this PC is put back to an image at "
                    "each start, keep %s on a disk that is not: it holds spectra and the token.",
                    checking->state);
}

static void check_spool(struct checking *checking)
{
    struct wp_spool_load load;
    wp_spool_load(checking->spool, &load);
    int64_t held = load.waiting_bytes + load.refused_bytes;
    if (held > load.limit / 100 * 80)
        check_fault(checking,
                    "The spool is %lld %% full: when it is full nothing more is taken. Bring "
                    "the gateway back, or raise --spool-limit.",
                    (long long)(held * 100 / load.limit));
    else
        check_well("Spool: %lld wait, %.1f of %.0f MiB", (long long)load.waiting,
                   (double)held / 1048576.0, (double)load.limit / 1048576.0);
    if (load.refused)
        check_fault(checking,
                    "%lld captures were refused by the gateway and are kept here; status says "
                    "why. After the cause is gone, join again: then they are sent anew.",
                    (long long)load.refused);
}

int wp_agent_check(const struct wp_agent_options *options)
{
    struct wp_error error;
    struct checking *checking = calloc(1, sizeof *checking);
    if (!checking)
        return 2;
    enum wp_status status = wp_spool_open_to_read(options->state, &checking->spool, &error);
    if (!status && wp_secret_init())
        status = wp_fail(&error, WP_IO, "the system gives no random numbers");
    if (!status)
        status = wp_setup_read(checking->spool, &checking->setup, &error);
    if (status) {
        (void)fprintf(stderr, "wavepost-agent: %s\n", error.text);
    } else {
        checking->state = options->state;
        check_folders(checking);
        check_gateway(checking);
        check_spool(checking);
        check_state(checking);
        if (checking->faults)
            printf("%u fault%s\n", checking->faults, checking->faults == 1 ? "" : "s");
        else
            puts("All well");
    }
    int code = status ? 2 : checking->faults ? 1 : 0;
    wp_spool_close(checking->spool);
    free(checking);
    return code;
}
