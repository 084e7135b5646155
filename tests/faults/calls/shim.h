/* The page that a driver and the program under test share: which call fails, and how many were
 * made. The driver (calls/page.py) packs the same six numbers. */
#ifndef SHIM_H
#define SHIM_H

#include <stdatomic.h>
#include <stdint.h>

enum shim_kind { SHIM_MEMORY = 1, SHIM_SOCKET = 2 };

struct shim_page {
    _Atomic uint64_t armed; /* 0: nothing is counted and nothing fails */
    _Atomic uint64_t kind;  /* enum shim_kind: the calls that are counted */
    _Atomic uint64_t at;    /* the call that fails, counted from 1 */
    _Atomic uint64_t count; /* calls of that kind since it was armed */
    _Atomic uint64_t met;   /* 1 once a call has failed */
    _Atomic uint64_t pid;   /* of the program, once it has the page */
};

/* Whether this call is the one that fails. Any thread; never allocates. */
int shim_fails(enum shim_kind kind, const char *call);

#endif
