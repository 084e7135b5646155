/* stream.h - a download that a worker thread makes while the client takes it.
 *
 * The worker writes into a bounded buffer and waits while it is full; the connection rests while it
 * is empty. A client that goes away makes the worker's next write fail.
 */
#ifndef STREAM_H
#define STREAM_H

#include <stddef.h>

#include "base/status.h"

struct wp_request;
struct wp_stream;

/* Makes the whole content on a thread of the exports lane: calls wp_stream_write until done. What
 * it returns only matters for the log: a started download can only be cut off. */
typedef enum wp_status (*wp_stream_fn)(struct wp_stream *stream, void *arg);

/* Answers the request with what `fn` writes. `arg` is freed with `arg_free` (may be NULL) on the
 * loop when both sides are done. Loop thread. */
void wp_reply_stream(struct wp_request *request, const char *type, const char *name,
                     wp_stream_fn fn, void *arg, void (*arg_free)(void *arg));

/* From the worker: waits for room. WP_RETRY: nobody takes it any more; stop. */
enum wp_status wp_stream_write(struct wp_stream *stream, const void *data, size_t size);

#endif
