/* body.h - a request's body: in memory, or beyond a size or the memory budget in a staging file.
 *
 * Memory is reserved as a whole before the first byte is kept, so that waiting bodies cannot block
 * each other. Connections that have not proved who they are share a quarter of the budget, and no
 * large body is kept before it is known that its sender may send it. Writing to the staging file
 * happens on the disk lane in pieces of 256 KiB; meanwhile the request is suspended.
 *
 * Thread: the loop's.
 */
#ifndef BODY_H
#define BODY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/bytes.h"

struct wp_request;

#define WP_BODY_IN_MEMORY (1024 * 1024) /* larger ones are staged */
#define WP_BODY_PIECE (256 * 1024)      /* written to the staging file at a time */
#define WP_BODY_DRAIN                                                                              \
    (8 * 1024 * 1024) /* read and thrown away after an error, so that the answer                   \
                         arrives; beyond it the connection is closed */

struct wp_body {
    uint64_t most;     /* limit of the route */
    uint64_t declared; /* Content-Length; UINT64_MAX: none */
    uint64_t total;    /* bytes taken */
    uint64_t drained;
    int64_t waited_us;      /* spent suspended while it was arriving */
    size_t reserved;        /* of the server's memory budget */
    bool ready;             /* memory is reserved */
    bool file;              /* may be staged */
    bool admitted;          /* who sends it may do so */
    bool of_stranger;       /* what is reserved comes out of the strangers' share */
    bool staged;            /* goes to a file */
    bool ended;             /* the last piece has been written and synced */
    struct wp_bytes memory; /* the body, or the piece not written yet */
    int fd;
    char path[640];
    enum wp_status written; /* outcome of the last write */
    struct wp_error error;
};

enum wp_take {
    WP_TAKE_TAKEN, /* the bytes are ours */
    WP_TAKE_WAIT,  /* the request is suspended; `*size` says what is left to be offered again */
    WP_TAKE_CLOSE  /* too much after an error: close the connection */
};

void wp_body_init(struct wp_request *request);
/* Takes bytes that arrived; sets `*size` to what is left. */
enum wp_take wp_body_take(struct wp_request *request, const char *data, size_t *size);
/* Answers that the body is too large. */
void wp_body_refuse(struct wp_request *request);
/* At the end: false if the rest is being written now (suspended), true if the body is complete. */
bool wp_body_end(struct wp_request *request);
/* Frees memory and removes the staging file if it is still there. */
void wp_body_release(struct wp_request *request);

#endif
