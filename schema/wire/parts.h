/* parts.h - reading and writing members, for the messages' files. Pure; any thread. */
#ifndef WIRE_PARTS_H
#define WIRE_PARTS_H

#include <cjson/cJSON.h>

#include "wire/messages.h"

/* One reading: the first thing that is wrong is kept in `error`, and later reads do nothing. */
struct reading {
    cJSON *root;
    enum wp_status status;
    struct wp_error *error;
};

/* Parses the document (at most `most` bytes) and checks its form. */
void wire_begin(struct reading *reading, const char *json, size_t size, size_t most,
                struct wp_error *error);
/* Frees it and returns the status. */
enum wp_status wire_end(struct reading *reading);

const cJSON *wire_object(struct reading *reading, const cJSON *in, const char *name);
/* An array of at most `most` elements; NULL after a failure. */
const cJSON *wire_array(struct reading *reading, const cJSON *in, const char *name, size_t most);
int64_t wire_whole(struct reading *reading, const cJSON *in, const char *name, int64_t least);
bool wire_flag(struct reading *reading, const cJSON *in, const char *name);
void wire_text(struct reading *reading, const cJSON *in, const char *name, char *out, size_t room);
/* Exactly 64 hexadecimal digits. */
void wire_hash(struct reading *reading, const cJSON *in, const char *name, char out[WP_WIRE_HASH]);
void wire_ledger(struct reading *reading, const cJSON *in, struct wp_wire_ledger *ledger);
void wire_wrong(struct reading *reading, const char *name, const char *why);

/* Writing: every call does nothing after the first failure. */
struct writing {
    struct wp_bytes *out;
    enum wp_status status;
    bool first; /* no comma before the next member */
};
void wire_open(struct writing *writing, const char *name, char bracket);
void wire_close(struct writing *writing, char bracket);
void wire_put_whole(struct writing *writing, const char *name, int64_t value);
void wire_put_flag(struct writing *writing, const char *name, bool value);
void wire_put_text(struct writing *writing, const char *name, const char *value);
void wire_put_null(struct writing *writing, const char *name);
void wire_put_ledger(struct writing *writing, const struct wp_wire_ledger *ledger);

void wire_capture_put(struct writing *writing, const struct wp_wire_capture *message);
void wire_capture_get(struct reading *reading, const cJSON *in, bool with_digest,
                      struct wp_wire_capture *message);

#endif
