#include <inttypes.h>
#include <string.h>

#include "parts.h"

#define LARGEST INT64_C(9007199254740992)

static void add(struct writing *writing, const char *text, size_t size)
{
    if (!writing->status)
        writing->status = wp_bytes_add(writing->out, text, size);
}

static void add_quoted(struct writing *writing, const char *text)
{
    size_t size = strlen(text);
    if (!writing->status && !wp_utf8_valid(text, size))
        writing->status = WP_INVALID;
    add(writing, "\"", 1);
    for (size_t i = 0; i < size && !writing->status; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c == '"' || c == '\\') {
            char escaped[2] = {'\\', (char)c};
            add(writing, escaped, 2);
        } else if (c == '\n') {
            add(writing, "\\n", 2);
        } else if (c < 0x20) {
            writing->status = wp_bytes_addf(writing->out, "\\u%04x", c);
        } else {
            add(writing, text + i, 1);
        }
    }
    add(writing, "\"", 1);
}

/* The comma and the name; elements of arrays have no name. */
static void lead(struct writing *writing, const char *name)
{
    if (!writing->first)
        add(writing, ",", 1);
    writing->first = false;
    if (name) {
        add_quoted(writing, name);
        add(writing, ":", 1);
    }
}

void wire_open(struct writing *writing, const char *name, char bracket)
{
    lead(writing, name);
    add(writing, &bracket, 1);
    writing->first = true;
}

void wire_close(struct writing *writing, char bracket)
{
    add(writing, &bracket, 1);
    writing->first = false;
}

void wire_put_whole(struct writing *writing, const char *name, int64_t value)
{
    lead(writing, name);
    if (!writing->status && (value > LARGEST || value < -LARGEST))
        writing->status = WP_INVALID;
    if (!writing->status)
        writing->status = wp_bytes_addf(writing->out, "%" PRId64, value);
}

void wire_put_flag(struct writing *writing, const char *name, bool value)
{
    lead(writing, name);
    add(writing, value ? "true" : "false", value ? 4 : 5);
}

void wire_put_text(struct writing *writing, const char *name, const char *value)
{
    lead(writing, name);
    add_quoted(writing, value);
}

void wire_put_null(struct writing *writing, const char *name)
{
    lead(writing, name);
    add(writing, "null", 4);
}

void wire_put_ledger(struct writing *writing, const struct wp_wire_ledger *ledger)
{
    wire_open(writing, "ledger", '{');
    wire_put_whole(writing, "number", ledger->number);
    wire_put_text(writing, "hash", ledger->hash);
    wire_close(writing, '}');
}
