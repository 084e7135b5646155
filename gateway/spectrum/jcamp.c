/* Records and blocks: what belongs to which spectrum. */
#include "jcamp.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DEPTH_MOST 64
#define DETECT_LINES 400
#define DETECT_BYTES 65536

static bool is_line_end(char c)
{
    return c == '\n' || c == '\r';
}

void wp_jname_normalise(const char *text, size_t size, char name[WP_JNAME])
{
    size_t used = 0;
    for (size_t i = 0; i < size && used + 1 < WP_JNAME; i++) {
        char c = text[i];
        if (c == ' ' || c == '\t' || c == '-' || c == '/' || c == '_')
            continue;
        if (c >= 'a' && c <= 'z')
            c = (char)(c - 'a' + 'A');
        name[used++] = c > ' ' && c < 0x7F ? c : '?';
    }
    name[used] = '\0';
}

/* Back over the blanks before a "##": the place where its line begins, NULL if it begins none. */
static const char *line_start(const struct wp_reader *reader, const char *at)
{
    while (at > reader->begin && (at[-1] == ' ' || at[-1] == '\t'))
        at--;
    return at == reader->begin || is_line_end(at[-1]) ? at : NULL;
}

const char *wp_jrecord_find(const struct wp_reader *reader, const char *p)
{
    while (p < reader->end && (p = memchr(p, '#', (size_t)(reader->end - p)))) {
        if (p + 1 < reader->end && p[1] == '#') {
            if (line_start(reader, p))
                return p;
            p++;
        }
        p++;
    }
    return reader->end;
}

void wp_jrecord_read(const struct wp_reader *reader, const char *at, struct wp_jrecord *record)
{
    const char *name = at + 2;
    const char *stop = name;
    while (stop < reader->end && *stop != '=' && !is_line_end(*stop))
        stop++;
    record->at = at;
    record->equals = stop < reader->end && *stop == '=';
    wp_jname_normalise(name, (size_t)(stop - name), record->name);
    record->value = record->equals ? stop + 1 : stop;
    const char *next = wp_jrecord_find(reader, record->value);
    const char *start = next < reader->end ? line_start(reader, next) : NULL;
    record->end = start ? start : reader->end;
}

bool wp_is_jcamp(const char *begin, const char *end)
{
    static const char *const first[] = {"TITLE", "JCAMPDX", "DATATYPE", "XYDATA", "XUNITS"};
    if (end - begin > DETECT_BYTES)
        end = begin + DETECT_BYTES;
    const char *p = begin;
    for (int line = 0; line < DETECT_LINES && p < end; line++, p = wp_line_next(p, end)) {
        while (p < end && (*p == ' ' || *p == '\t'))
            p++;
        if (end - p < 3 || p[0] != '#' || p[1] != '#')
            continue;
        const char *stop = wp_line_end(p, end);
        const char *equals = memchr(p, '=', (size_t)(stop - p));
        if (!equals)
            continue;
        char name[WP_JNAME];
        wp_jname_normalise(p + 2, (size_t)(equals - p) - 2, name);
        for (size_t i = 0; i < sizeof first / sizeof first[0]; i++)
            if (strcmp(name, first[i]) == 0)
                return true;
    }
    return false;
}

/* The open blocks, outermost first. */
struct stack {
    struct wp_jblock *blocks[DEPTH_MOST];
    size_t depth;
    size_t depth_most;
    size_t ended; /* outermost blocks that have ended */
};

static void block_free(struct wp_jblock *block)
{
    wp_label_list_release(&block->labels);
    free(block->tables);
    free(block);
}

static struct wp_jblock *top(const struct stack *stack)
{
    return stack->depth ? stack->blocks[stack->depth - 1] : NULL;
}

static enum wp_status push(struct wp_reader *reader, struct stack *stack, long line)
{
    if (stack->depth >= stack->depth_most)
        return wp_reader_fail(reader, WP_TOO_LARGE, line, NULL,
                              "blocks are nested more than %zu deep", stack->depth_most);
    struct wp_jblock *block = calloc(1, sizeof *block);
    if (!block)
        return wp_reader_no_memory(reader);
    block->line = line;
    if (top(stack))
        top(stack)->inner++;
    stack->blocks[stack->depth++] = block;
    return WP_OK;
}

static enum wp_status pop(struct wp_reader *reader, struct stack *stack)
{
    struct wp_jblock *block = stack->blocks[--stack->depth];
    enum wp_status status = wp_jblock_finish(reader, block);
    block_free(block);
    stack->ended += stack->depth == 0;
    return status;
}

static bool is_table(const char *name)
{
    static const char *const names[] = {"XYDATA",          "XYPOINTS",  "PEAKTABLE",
                                        "PEAKASSIGNMENTS", "DATATABLE", "RADATA"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (strcmp(name, names[i]) == 0)
            return true;
    return false;
}

static enum wp_status add_table(struct wp_reader *reader, struct wp_jblock *block,
                                const struct wp_jrecord *record)
{
    if (block->table_count >= reader->limits->spectra) {
        block->tables_dropped++;
        return WP_OK;
    }
    if (block->table_count == block->table_room) {
        size_t room = block->table_room ? block->table_room * 2 : 1;
        struct wp_jtable *grown = realloc(block->tables, room * sizeof *grown);
        if (!grown)
            return wp_reader_no_memory(reader);
        block->tables = grown;
        block->table_room = room;
    }
    struct wp_jtable *table = &block->tables[block->table_count++];
    memset(table, 0, sizeof *table);
    (void)snprintf(table->name, sizeof table->name, "%s", record->name);
    table->form = record->value;
    table->form_end = wp_line_end(record->value, record->end);
    table->begin = wp_line_next(record->value, record->end);
    table->end = record->end;
    table->line = wp_reader_line(reader, record->at);
    table->first_line = table->line + (table->begin > table->form_end);
    if (block->ntuples) {
        table->page = block->page ? block->page : "";
        table->page_end = block->page ? block->page_end : table->page;
    }
    return WP_OK;
}

/* Where the data of a label end and a "$$" comment begins. */
static const char *comment_start(const char *p, const char *end)
{
    for (; p + 1 < end; p++)
        if (p[0] == '$' && p[1] == '$')
            return p;
    return end;
}

/* The value without its comments, which run from "$$" to the end of the line. */
static char *value_text(struct wp_reader *reader, const struct wp_jrecord *record, long line)
{
    const char *value = record->value;
    const char *end = record->end;
    size_t most = 2 * WP_LABEL_VALUE;
    if (comment_start(value, end) == end)
        return wp_reader_text(reader, value, (size_t)(end - value), WP_LABEL_VALUE, line,
                              record->name);
    char *kept = malloc(most);
    if (!kept)
        return NULL;
    size_t used = 0;
    for (const char *p = value; p < end && used < most; p = wp_line_next(p, end)) {
        const char *stop = wp_line_end(p, end);
        const char *data = comment_start(p, stop);
        size_t size = (size_t)(data - p);
        if (size == 0 && p > value)
            continue;
        if (used)
            kept[used++] = '\n';
        if (size > most - used)
            size = most - used;
        memcpy(kept + used, p, size);
        used += size;
    }
    char *text = wp_reader_text(reader, kept, used, WP_LABEL_VALUE, line, record->name);
    free(kept);
    return text;
}

static enum wp_status add_label(struct wp_reader *reader, struct wp_jblock *block,
                                const struct wp_jrecord *record)
{
    if (block->labels.count >= WP_LABELS_MOST) {
        block->labels.dropped++;
        return WP_OK;
    }
    long line = wp_reader_line(reader, record->at);
    if (!record->equals)
        wp_reader_warn(reader, line, record->name, "no \"=\" after the label");
    char *value = value_text(reader, record, line);
    if (!value)
        return wp_reader_no_memory(reader);
    if (!wp_label_list_add(&block->labels, record->name, value, line)) {
        free(value);
        return wp_reader_no_memory(reader);
    }
    return WP_OK;
}

static bool begins_block(const struct wp_reader *reader, const struct wp_jrecord *title)
{
    const char *at = wp_jrecord_find(reader, title->end);
    if (at == reader->end)
        return false;
    struct wp_jrecord next;
    wp_jrecord_read(reader, at, &next);
    return strcmp(next.name, "JCAMPDX") == 0 || strcmp(next.name, "JCAMPCS") == 0;
}

static bool is_link(const struct wp_jblock *block)
{
    const char *type = wp_jblock_value(block, "DATATYPE");
    return wp_jblock_value(block, "BLOCKS") || (type && strncasecmp(type, "LINK", 4) == 0);
}

static enum wp_status take_title(struct wp_reader *reader, struct stack *stack,
                                 const struct wp_jrecord *record)
{
    struct wp_jblock *open = top(stack);
    long line = wp_reader_line(reader, record->at);
    if (open && !is_link(open)) {
        if (!open->table_count && !begins_block(reader, record)) {
            wp_reader_warn(reader, line, "TITLE", "a second title in one block");
            return add_label(reader, open, record);
        }
        wp_reader_warn(reader, line, "END", "the block of line %ld has no ##END=", open->line);
        enum wp_status status = pop(reader, stack);
        if (status)
            return status;
    }
    enum wp_status status = push(reader, stack, line);
    return status ? status : add_label(reader, top(stack), record);
}

static void warn_trailing(struct wp_reader *reader, const struct wp_jrecord *record)
{
    const char *p = wp_line_next(record->value, record->end);
    for (; p < record->end; p = wp_line_next(p, record->end)) {
        const char *stop = wp_line_end(p, record->end);
        const char *q = p;
        while (q < stop && (*q == ' ' || *q == '\t' || *q == 0x1A || *q == '\0' || *q == '\f'))
            q++;
        if (q == stop || (q + 1 < stop && q[0] == '$' && q[1] == '$'))
            continue;
        wp_reader_warn(reader, wp_reader_line(reader, p), "END", "text after ##END= was ignored");
        return;
    }
}

static enum wp_status take_record(struct wp_reader *reader, struct stack *stack,
                                  const struct wp_jrecord *record)
{
    if (record->name[0] == '\0')
        return WP_OK;
    if (strcmp(record->name, "TITLE") == 0)
        return take_title(reader, stack, record);
    if (strcmp(record->name, "END") == 0) {
        enum wp_status status = WP_OK;
        if (stack->depth)
            status = pop(reader, stack);
        else
            wp_reader_warn(reader, wp_reader_line(reader, record->at), "END",
                           "##END= without a block to end");
        if (!status)
            warn_trailing(reader, record);
        return status;
    }
    if (!stack->depth) {
        long line = wp_reader_line(reader, record->at);
        wp_reader_warn(reader, line, record->name, "the block does not begin with ##TITLE=");
        enum wp_status status = push(reader, stack, line);
        if (status)
            return status;
    }
    struct wp_jblock *block = top(stack);
    if (is_table(record->name))
        return add_table(reader, block, record);
    if (strcmp(record->name, "NTUPLES") == 0) {
        block->ntuples = true;
    } else if (strcmp(record->name, "ENDNTUPLES") == 0) {
        block->ntuples = false;
        return WP_OK;
    } else if (strcmp(record->name, "PAGE") == 0) {
        block->page = record->value;
        block->page_end = wp_line_end(record->value, record->end);
        return WP_OK;
    }
    return add_label(reader, block, record);
}

static void warn_leading(struct wp_reader *reader, const char *first)
{
    for (const char *p = reader->begin; p < first; p = wp_line_next(p, first)) {
        const char *q = p;
        while (q < first && (*q == ' ' || *q == '\t' || is_line_end(*q)))
            q++;
        if (q == first || (q + 1 < first && q[0] == '$' && q[1] == '$'))
            continue;
        wp_reader_warn(reader, wp_reader_line(reader, q), "", "text before ##TITLE= was ignored");
        return;
    }
}

static enum wp_status read_records(struct wp_reader *reader, struct stack *stack)
{
    const char *at = wp_jrecord_find(reader, reader->begin);
    warn_leading(reader, at);
    while (at < reader->end) {
        struct wp_jrecord record;
        wp_jrecord_read(reader, at, &record);
        enum wp_status status = take_record(reader, stack, &record);
        if (status)
            return status;
        at = wp_jrecord_find(reader, record.end);
    }
    while (stack->depth) {
        struct wp_jblock *block = top(stack);
        wp_reader_warn(reader, block->line, "END",
                       "the block of line %ld has no ##END=", block->line);
        enum wp_status status = pop(reader, stack);
        if (status)
            return status;
    }
    return WP_OK;
}

enum wp_status wp_read_jcamp(struct wp_reader *reader)
{
    struct stack stack = {.depth = 0};
    stack.depth_most = reader->limits->depth < DEPTH_MOST ? reader->limits->depth : DEPTH_MOST;
    enum wp_status status = read_records(reader, &stack);
    while (stack.depth)
        block_free(stack.blocks[--stack.depth]);
    if (!status && !reader->out->spectrum_count)
        return wp_reader_fail(reader, WP_INVALID, 1, NULL, "no table of data points in the file");
    return status;
}
