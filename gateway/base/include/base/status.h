/* base/status.h - how functions of Wavepost say what happened.
 *
 * A function that can fail returns `enum wp_status`; 0 is success, so `if (status)` reads as "if it
 * failed". A function that can say more than a code takes a `struct wp_error *` as its last
 * argument; it may be NULL. The error is reported where it is first detected and travels up
 * unchanged; nobody below `main` prints it or exits.
 *
 * Thread: everything here may be called from any thread.
 */
#ifndef BASE_STATUS_H
#define BASE_STATUS_H

#include <stddef.h>

enum wp_status {
    WP_OK = 0,
    WP_RETRY,      /* temporary: the same call may succeed later (a full lane, a busy peer) */
    WP_CONSTRAINT, /* the database refused it: a key is taken or a reference missing */
    WP_FULL,       /* disk, quota or spool is full */
    WP_BROKEN, /* storage failed in a way that must stop the program (failed sync, corrupt file) */
    WP_NOT_FOUND, /* what was asked for does not exist */
    WP_INVALID,   /* the input is wrong; the error's text says where and why */
    WP_DENIED,    /* who asks may not */
    WP_TOO_LARGE, /* beyond a stated limit */
    WP_NO_MEMORY, /* allocation failed, or a memory budget is used up */
    WP_IO,        /* the operating system or a peer refused; permanent as far as we know */
    WP_CONFLICT   /* the state of things forbids it now (already claimed, already closed) */
};

#define WP_ERROR_TEXT 256

/* What went wrong, for a person. `line` and `column` count from 1; 0 means "no such place". The
 * text is UTF-8 without control characters, one sentence, and names no person. */
struct wp_error {
    enum wp_status status;
    long line;
    long column;
    char text[WP_ERROR_TEXT];
};

/* Fills `*error` (if not NULL) and returns `status`, so that `return wp_fail(e, WP_INVALID, ...)`
 * works. Text longer than the buffer is cut at a character boundary. */
enum wp_status wp_fail(struct wp_error *error, enum wp_status status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The same with a place in the input. */
enum wp_status wp_fail_at(struct wp_error *error, enum wp_status status, long line, long column,
                          const char *format, ...) __attribute__((format(printf, 5, 6)));

/* A short English name for a code, never NULL: "ok", "retry", ... For logs. */
const char *wp_status_name(enum wp_status status);

#endif
