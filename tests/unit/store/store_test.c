#include <fcntl.h>
#include <ftw.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "store/store.h"

struct fixture {
    char folder[32];
    struct wp_store *store;
    unsigned char digest[WP_SHA256_SIZE];
    char path[160]; /* where the object "abc" lies */
};

static int remove_one(const char *path, const struct stat *found, int kind, struct FTW *walk)
{
    (void)found;
    (void)kind;
    (void)walk;
    return remove(path);
}

static int start(void **state)
{
    struct fixture *f = calloc(1, sizeof *f);
    if (!f)
        return -1;
    *state = f;
    strcpy(f->folder, "/tmp/wp-store-XXXXXX");
    char hex[WP_SHA256_HEX];
    if (!mkdtemp(f->folder) || wp_sha256("abc", 3, f->digest))
        return -1;
    wp_hex_encode(f->digest, sizeof f->digest, hex);
    (void)snprintf(f->path, sizeof f->path, "%s/objects/%.2s/%s", f->folder, hex, hex);
    return (int)wp_store_open_folder(f->folder, &f->store, NULL);
}

static int stop(void **state)
{
    struct fixture *f = *state;
    f->store->ops->free(f->store);
    int failed = nftw(f->folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
    free(f);
    return failed;
}

static void assert_holds(struct fixture *f, const char *text)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 100);
    assert_int_equal(f->store->ops->get(f->store, f->digest, &bytes, NULL), WP_OK);
    assert_int_equal(bytes.size, strlen(text));
    assert_memory_equal(bytes.data, text, bytes.size);
    wp_bytes_release(&bytes);
}

static void write_file(const char *path, const char *text)
{
    int file = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    assert_true(file >= 0);
    assert_int_equal(write(file, text, strlen(text)), strlen(text));
    assert_int_equal(close(file), 0);
}

static void an_object_lies_under_its_digest_and_is_read_only(void **state)
{
    struct fixture *f = *state;
    struct stat found;
    assert_false(f->store->ops->has(f->store, f->digest));
    assert_int_equal(f->store->ops->check(f->store, f->digest), WP_NOT_FOUND);
    assert_int_equal(f->store->ops->put(f->store, f->digest, "abc", 3, NULL), WP_OK);
    assert_int_equal(f->store->ops->put(f->store, f->digest, "abc", 3, NULL), WP_OK);
    assert_int_equal(f->store->ops->sync(f->store, NULL), WP_OK);
    assert_int_equal(stat(f->path, &found), 0);
    assert_int_equal(found.st_mode & 0777, 0400);
    assert_true(f->store->ops->has(f->store, f->digest));
    assert_int_equal(f->store->ops->check(f->store, f->digest), WP_OK);
    assert_holds(f, "abc");
}

/* What a power failure can leave: the name without all the bytes. */
static void a_torn_file_is_found_and_put_right(void **state)
{
    struct fixture *f = *state;
    static const char *const torn[] = {"", "ab", "abd", "abcd"};
    for (size_t i = 0; i < sizeof torn / sizeof torn[0]; i++) {
        assert_int_equal(f->store->ops->put(f->store, f->digest, "abc", 3, NULL), WP_OK);
        assert_int_equal(chmod(f->path, 0600), 0);
        write_file(f->path, torn[i]);
        assert_int_equal(f->store->ops->check(f->store, f->digest), WP_INVALID);
        assert_int_equal(f->store->ops->put(f->store, f->digest, "abc", 3, NULL), WP_OK);
        assert_int_equal(f->store->ops->check(f->store, f->digest), WP_OK);
    }
}

static void a_staging_file_is_adopted(void **state)
{
    struct fixture *f = *state;
    char staging[64];
    (void)snprintf(staging, sizeof staging, "%s/incoming/upload-1", f->folder);
    for (int i = 0; i < 2; i++) {
        write_file(staging, "abc");
        assert_int_equal(f->store->ops->adopt(f->store, f->digest, staging, NULL), WP_OK);
        assert_int_equal(access(staging, F_OK), -1);
        assert_int_equal(f->store->ops->check(f->store, f->digest), WP_OK);
    }
    assert_int_equal(f->store->ops->adopt(f->store, f->digest, staging, NULL), WP_NOT_FOUND);
}

static void what_was_incoming_is_swept_at_the_start(void **state)
{
    struct fixture *f = *state;
    char staging[64];
    (void)snprintf(staging, sizeof staging, "%s/incoming/upload-1", f->folder);
    write_file(staging, "half an upl");
    assert_int_equal(f->store->ops->put(f->store, f->digest, "abc", 3, NULL), WP_OK);
    f->store->ops->free(f->store);
    assert_int_equal(wp_store_open_folder(f->folder, &f->store, NULL), WP_OK);
    assert_int_equal(access(staging, F_OK), -1);
    assert_holds(f, "abc");
}

static void an_object_larger_than_the_room_is_refused(void **state)
{
    struct fixture *f = *state;
    struct wp_bytes bytes;
    struct wp_error error;
    wp_bytes_init(&bytes, 2);
    assert_int_equal(f->store->ops->get(f->store, f->digest, &bytes, &error), WP_NOT_FOUND);
    assert_int_equal(f->store->ops->put(f->store, f->digest, "abc", 3, NULL), WP_OK);
    assert_int_equal(f->store->ops->get(f->store, f->digest, &bytes, &error), WP_TOO_LARGE);
    assert_int_equal(bytes.size, 0);
    wp_bytes_release(&bytes);
}

static bool count_one(void *arg, const unsigned char digest[WP_SHA256_SIZE])
{
    (void)digest;
    int *left = arg;
    return --*left > 0;
}

static void a_walk_sees_every_object_and_nothing_else(void **state)
{
    struct fixture *f = *state;
    char path[64];
    for (int i = 0; i < 300; i++) {
        unsigned char digest[WP_SHA256_SIZE];
        assert_int_equal(wp_sha256(&i, sizeof i, digest), WP_OK);
        assert_int_equal(f->store->ops->put(f->store, digest, &i, sizeof i, NULL), WP_OK);
    }
    (void)snprintf(path, sizeof path, "%s/objects/README", f->folder);
    write_file(path, "not an object");
    int left = 1000;
    assert_int_equal(f->store->ops->walk(f->store, count_one, &left), WP_OK);
    assert_int_equal(left, 700);
    left = 5;
    assert_int_equal(f->store->ops->walk(f->store, count_one, &left), WP_OK);
    assert_int_equal(left, 0);
}

/* In a process of its own, because a limit on file sizes cannot be taken back everywhere. */
static int put_beyond_the_limit(struct fixture *f)
{
    static char data[100000];
    unsigned char digest[WP_SHA256_SIZE];
    struct rlimit limit = {.rlim_cur = 50000, .rlim_max = 50000};
    (void)signal(SIGXFSZ, SIG_IGN);
    if (setrlimit(RLIMIT_FSIZE, &limit) || wp_sha256(data, sizeof data, digest))
        return 1;
    if (f->store->ops->put(f->store, digest, data, sizeof data, NULL) != WP_FULL)
        return 2;
    if (f->store->ops->has(f->store, digest))
        return 3;
    return f->store->ops->put(f->store, f->digest, "abc", 3, NULL) ? 4 : 0;
}

static void a_full_disk_leaves_nothing_half_done(void **state)
{
    struct fixture *f = *state;
    pid_t child = fork();
    if (child == 0)
        _exit(put_beyond_the_limit(f));
    int status = -1;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_int_equal(status, 0);
    char incoming[64];
    (void)snprintf(incoming, sizeof incoming, "%s/incoming", f->folder);
    assert_int_equal(rmdir(incoming), 0); /* so it was empty */
    assert_holds(f, "abc");
}

static void a_folder_that_is_missing_is_refused(void **state)
{
    (void)state;
    struct wp_store *store;
    struct wp_error error;
    assert_int_equal(wp_store_open_folder("/nonexistent/data", &store, &error), WP_IO);
    assert_null(store);
    assert_non_null(strstr(error.text, "/nonexistent/data"));
}

#define IN_FOLDER(test) cmocka_unit_test_setup_teardown(test, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_FOLDER(an_object_lies_under_its_digest_and_is_read_only),
        IN_FOLDER(a_torn_file_is_found_and_put_right),
        IN_FOLDER(a_staging_file_is_adopted),
        IN_FOLDER(what_was_incoming_is_swept_at_the_start),
        IN_FOLDER(an_object_larger_than_the_room_is_refused),
        IN_FOLDER(a_walk_sees_every_object_and_nothing_else),
        IN_FOLDER(a_full_disk_leaves_nothing_half_done),
        cmocka_unit_test(a_folder_that_is_missing_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
