/* check_parts.h - what check.c (this PC) and check_gateway.c (the way to the gateway) share. */
#ifndef CHECK_PARTS_H
#define CHECK_PARTS_H

#include "setup.h"

struct checking {
    struct wp_spool *spool;
    struct wp_setup setup;
    const char *state;
    unsigned faults;
    int64_t sent_us;
};

/* A line that says what is well, what is worth knowing, or what is wrong; the last is counted. */
void check_well(const char *format, ...) __attribute__((format(printf, 1, 2)));
void check_note(const char *format, ...) __attribute__((format(printf, 1, 2)));
void check_fault(struct checking *checking, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Proxy, certificate, token, clock, ledger, pause: by one heartbeat. */
void check_gateway(struct checking *checking);

#endif
