/* Loaded before the C library (LD_PRELOAD) into a real program: lets its n-th allocation or socket
 * call fail. WP_SHIM_PAGE names the shared page, WP_SHIM_PROGRAM the one program that heeds it,
 * WP_SHIM_TRACE the file that says where the failed call came from. */
#include "shim.h"

#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#define DEPTH 24

/* glibc's own, beside the names that programs may replace. */
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);
void *__libc_memalign(size_t alignment, size_t size);

static struct shim_page *page;
static int trace = -1;
static __thread int inside __attribute__((tls_model("initial-exec")));

__attribute__((constructor)) static void attach(void)
{
    const char *path = getenv("WP_SHIM_PAGE");
    const char *program = getenv("WP_SHIM_PROGRAM");
    const char *log = getenv("WP_SHIM_TRACE");
    void *frames[2];
    if (!path || !program || strcmp(program, program_invocation_short_name) != 0)
        return;
    (void)backtrace(frames, 2); /* the first one allocates */
    trace = log ? open(log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600) : -1;
    int fd = open(path, O_RDWR | O_CLOEXEC);
    void *found = mmap(NULL, sizeof *page, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    if (fd >= 0)
        close(fd);
    if (found == MAP_FAILED) {
        dprintf(2, "shim: %s cannot be shared\n", path);
        _exit(99);
    }
    page = found;
    page->pid = (uint64_t)getpid();
}

static void say_where(const char *call, unsigned long long number)
{
    void *frames[DEPTH];
    if (trace < 0)
        return;
    inside = 1;
    dprintf(trace, "%s failed, call %llu\n", call, number);
    backtrace_symbols_fd(frames, backtrace(frames, DEPTH), trace);
    inside = 0;
}

int shim_fails(enum shim_kind kind, const char *call)
{
    if (!page || inside || !page->armed || page->kind != (uint64_t)kind)
        return 0;
    uint64_t number = atomic_fetch_add(&page->count, 1) + 1;
    if (number != page->at)
        return 0;
    page->met = 1;
    say_where(call, number);
    return 1;
}

/* strdup, asprintf, getline, getaddrinfo and the like allocate by these names as well. */
static int no_memory(const char *call)
{
    if (!shim_fails(SHIM_MEMORY, call))
        return 0;
    errno = ENOMEM;
    return 1;
}

void *malloc(size_t size)
{
    return no_memory("malloc") ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size)
{
    return no_memory("calloc") ? NULL : __libc_calloc(count, size);
}

void *realloc(void *old, size_t size)
{
    return no_memory("realloc") ? NULL : __libc_realloc(old, size);
}

void *reallocarray(void *old, size_t count, size_t size)
{
    size_t all = 0;
    if (__builtin_mul_overflow(count, size, &all) || no_memory("reallocarray")) {
        errno = ENOMEM;
        return NULL;
    }
    return __libc_realloc(old, all);
}

void *memalign(size_t alignment, size_t size)
{
    return no_memory("memalign") ? NULL : __libc_memalign(alignment, size);
}

void *aligned_alloc(size_t alignment, size_t size)
{
    return no_memory("aligned_alloc") ? NULL : __libc_memalign(alignment, size);
}

int posix_memalign(void **out, size_t alignment, size_t size)
{
    void *made = no_memory("posix_memalign") ? NULL : __libc_memalign(alignment, size);
    if (!made)
        return ENOMEM;
    *out = made;
    return 0;
}
