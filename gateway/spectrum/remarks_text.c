/* The sentences of the table with their gaps filled in:
 *   {n}  how many, with the noun: "1 band is", "5 bands are", "8 scans"
 *   {v}  a figure    {p}  a place in cm-1    {s}  a name
 *   {thin} {more} {clear}  what to do with this preparation */
#include "remarks_text.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct writer {
    char *out;
    size_t room;
    size_t used;
};

__attribute__((format(printf, 2, 3))) static void add(struct writer *writer, const char *format,
                                                      ...)
{
    va_list arguments;
    va_start(arguments, format);
    int size =
        vsnprintf(writer->out + writer->used, writer->room - writer->used, format, arguments);
    va_end(arguments);
    if (size > 0)
        writer->used += (size_t)size;
    if (writer->used >= writer->room)
        writer->used = writer->room - 1;
}

/* Plates are cleaned with what the lab has set, never with what we would guess. */
static void add_cleaning(struct writer *writer, const struct wp_context *context)
{
    const char *solvent = context->cleaning_solvent;
    if (solvent && solvent[0])
        add(writer, " Clean plates with %.40s in the hood; see the SDS.", solvent);
}

static void add_thinner(struct writer *writer, const struct wp_context *context)
{
    switch (context->preparation) {
    case WP_PREP_LIQUID_FILM:
        add(writer, "Open the plates, wipe ONE, close them, run again. About 2 minutes.");
        add_cleaning(writer, context);
        break;
    case WP_PREP_CAST_FILM:
        add(writer, "Cast a thinner film and run again.");
        break;
    case WP_PREP_MULL:
        add(writer, "Open the plates, wipe ONE, spread again, run again. About 2 minutes.");
        add_cleaning(writer, context);
        break;
    case WP_PREP_PELLET:
        add(writer, "Make a pellet with half as much sample and run again.");
        break;
    default:
        add(writer, "Use less sample and run again.");
        break;
    }
}

static void add_more(struct writer *writer, const struct wp_context *context)
{
    switch (context->preparation) {
    case WP_PREP_LIQUID_FILM:
        add(writer, "Open the plates, add a drop, close them gently, run again.");
        break;
    case WP_PREP_CAST_FILM:
        add(writer, "Put on another drop, let it dry in the hood, run again.");
        break;
    case WP_PREP_MULL:
        add(writer, "Grind in a little more sample, spread it, run again.");
        break;
    case WP_PREP_ATR:
        add(writer, "Cover the crystal with sample and run again. If it stays so, ask staff.");
        break;
    case WP_PREP_PELLET:
        add(writer, "Make a pellet with a little more sample and run again.");
        break;
    default:
        add(writer, "Put more sample in the beam and run again.");
        break;
    }
}

static void add_clearer(struct writer *writer, const struct wp_context *context)
{
    switch (context->preparation) {
    case WP_PREP_MULL:
    case WP_PREP_PELLET:
        add(writer, "Grind finer, use less, and run again.");
        break;
    case WP_PREP_LIQUID_FILM:
    case WP_PREP_CAST_FILM:
        add(writer, "Look through the plates: if they are cloudy, take another pair.");
        add_cleaning(writer, context);
        break;
    default:
        add(writer, "See that the sample sits in the middle of the beam, and run again.");
        break;
    }
}

static void add_count(struct writer *writer, const struct wp_found *found)
{
    if (found->limit == WP_LIMIT_SCANS)
        add(writer, found->count == 1 ? "1 scan" : "%ld scans", found->count);
    else
        add(writer, found->count == 1 ? "1 band is" : "%ld bands are", found->count);
}

/* Two digits are enough for a person; small figures need a decimal. */
static void add_value(struct writer *writer, double value)
{
    add(writer, value < 9.5 && value > -9.5 ? "%.1f" : "%.0f", value);
}

static void add_gap(struct writer *writer, const struct wp_context *context,
                    const struct wp_found *found, const char *gap, size_t size)
{
    if (strncmp(gap, "n", size) == 0)
        add_count(writer, found);
    else if (strncmp(gap, "v", size) == 0)
        add_value(writer, found->value);
    else if (strncmp(gap, "p", size) == 0)
        add(writer, "%.0f cm-1", found->position);
    else if (strncmp(gap, "s", size) == 0)
        add(writer, "%s", found->name ? found->name : "");
    else if (strncmp(gap, "thin", size) == 0)
        add_thinner(writer, context);
    else if (strncmp(gap, "more", size) == 0)
        add_more(writer, context);
    else if (strncmp(gap, "clear", size) == 0)
        add_clearer(writer, context);
}

static void fill(const struct wp_context *context, const struct wp_found *found,
                 const char *pattern, char *out, size_t room)
{
    struct writer writer = {out, room, 0};
    out[0] = '\0';
    while (*pattern) {
        size_t plain = strcspn(pattern, "{");
        add(&writer, "%.*s", (int)plain, pattern);
        pattern += plain;
        if (*pattern != '{')
            continue;
        size_t size = strcspn(pattern, "}");
        add_gap(&writer, context, found, pattern + 1, size - 1);
        pattern += pattern[size] ? size + 1 : size;
    }
}

void wp_remark_write(const struct wp_context *context, const struct wp_found *found,
                     struct wp_remark *remark)
{
    const struct wp_limit_row *row = &wp_limit_rows[found->limit];
    memset(remark, 0, sizeof *remark);
    snprintf(remark->code, sizeof remark->code, "%s", row->code);
    remark->weight = row->weight;
    remark->position = found->position;
    fill(context, found, row->text, remark->text, sizeof remark->text);
    fill(context, found, row->advice, remark->advice, sizeof remark->advice);
}
